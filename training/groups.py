"""Which pictures show one object or one moment, so that no split tears them apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

SAME_OBJECT = 0.92  # cosine of pretrained embeddings, chosen by looking at pairs around it
_CHUNK = 1024  # rows compared at once, bounds memory


@dataclass(frozen=True, slots=True)
class Merged:
    """Group name per picture and how many near-repeats joined groups, by source."""

    groups: list[str]
    repeats: dict[str, int]


def merge_groups(
    groups: Sequence[str],
    sources: Sequence[str],
    embeddings: NDArray[np.float32],
    *,
    threshold: float = SAME_OBJECT,
) -> Merged:
    """Join groups that hold near-repeats of one picture.

    Parameters
    ----------
    groups:
        Given group of each of n pictures.
    sources:
        Source of each picture; only pictures of one source are compared.
    embeddings:
        (n, d) features of a network that was not trained on these pictures.
    threshold:
        Cosine from which two pictures count as repeats.
    """
    names = sorted(set(groups))
    number = {name: i for i, name in enumerate(names)}
    parents = list(range(len(names)))
    unit = embeddings / np.linalg.norm(embeddings, axis=1, keepdims=True).clip(min=1e-9)
    repeats: dict[str, int] = {}
    source_of = np.asarray(sources)
    for source in sorted(set(sources)):
        rows = np.flatnonzero(source_of == source)
        repeats[source] = 0
        for a, b in _close_pairs(unit[rows], threshold):
            repeats[source] += 1
            first, second = number[groups[rows[a]]], number[groups[rows[b]]]
            parents[_root(parents, first)] = _root(parents, second)
    return Merged([names[_root(parents, number[g])] for g in groups], repeats)


def _close_pairs(unit: NDArray[np.float32], threshold: float) -> list[tuple[int, int]]:
    pairs: list[tuple[int, int]] = []
    for start in range(0, len(unit), _CHUNK):
        cosine = unit[start : start + _CHUNK] @ unit.T
        rows, columns = np.nonzero(cosine >= threshold)
        pairs += [
            (int(r) + start, int(c)) for r, c in zip(rows, columns, strict=True) if c > r + start
        ]
    return pairs


def _root(parents: list[int], node: int) -> int:
    while parents[node] != node:
        parents[node] = parents[parents[node]]
        node = parents[node]
    return node
