"""Which pictures are most useful to label next."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from classifier.examples.similar import unit_rows

Floats = NDArray[np.float64]


def margins(p: Floats) -> Floats:
    """Return how far the likeliest label leads the next one, (n,) from 0 to 1."""
    if p.shape[1] < 2:
        return np.ones(len(p))
    top = np.partition(p, -2, axis=1)
    return np.asarray(top[:, -1] - top[:, -2], dtype=np.float64)


def density(embeddings: NDArray[np.float32]) -> Floats:
    """Return each picture's mean cosine to all of them, (n,), not below 0."""
    unit = unit_rows(embeddings)
    return np.asarray((unit @ unit.mean(axis=0)).clip(min=0), dtype=np.float64)


def next_to_label(
    p: Floats,
    embeddings: NDArray[np.float32],
    groups: Sequence[str],
    candidates: Sequence[int],
    *,
    most: int = 100,
) -> list[int]:
    """Return rows of the most useful candidates, the best first, one of each group.

    Worth = (1 - margin) x density: pictures between two labels (T. Scheffer et al., Active hidden
    Markov models, 2001), weighted by how many others are like them, so that odd ones out do not
    fill the list (B. Settles, M. Craven, EMNLP 2008, information density with beta = 1).
    """
    worth = (1 - margins(p)) * density(embeddings)
    order = sorted(candidates, key=lambda row: (-worth[row], row))
    chosen: list[int] = []
    seen: set[str] = set()
    for row in order:
        if groups[row] not in seen:
            seen.add(groups[row])
            chosen.append(row)
        if len(chosen) == most:
            break
    return chosen
