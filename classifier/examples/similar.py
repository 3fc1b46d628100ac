"""Which pictures show one object or one moment, found by how alike their embeddings are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    threshold: float,
) -> Merged:
    """Join groups that hold near-repeats of one picture.

    Parameters
    ----------
    groups:
        Given group of each of n pictures.
    sources:
        Source of each picture; only pictures of one source are compared.
    embeddings:
        (n, d) features of the pictures; a row of zeros is like nothing.
    threshold:
        Cosine from which two pictures count as repeats.
    """
    names = sorted(set(groups))
    number = {name: i for i, name in enumerate(names)}
    parents = list(range(len(names)))
    unit = unit_rows(embeddings)
    repeats: dict[str, int] = {}
    source_of = np.asarray(sources)
    for source in sorted(set(sources)):
        rows = np.flatnonzero(source_of == source)
        repeats[source] = 0
        for a, b in close_pairs(unit[rows], threshold):
            repeats[source] += 1
            first, second = number[groups[rows[a]]], number[groups[rows[b]]]
            parents[_root(parents, first)] = _root(parents, second)
    return Merged([names[_root(parents, number[g])] for g in groups], repeats)


def unit_rows(embeddings: NDArray[np.float32]) -> NDArray[np.float32]:
    """Scale each row to length 1; rows of zeros stay."""
    scaled: NDArray[np.float32] = embeddings / np.linalg.norm(
        embeddings, axis=1, keepdims=True
    ).clip(min=1e-9)
    return scaled


def close_pairs(unit: NDArray[np.float32], threshold: float) -> list[tuple[int, int]]:
    """Return all pairs (a < b) of rows of length 1 whose cosine reaches the threshold."""
    pairs: list[tuple[int, int]] = []
    for start in range(0, len(unit), _CHUNK):
        # Only columns from the chunk on: the pairs before were met from the other side.
        cosine = unit[start : start + _CHUNK] @ unit[start:].T
        rows, columns = np.nonzero(cosine >= threshold)
        pairs += [
            (int(r) + start, int(c) + start) for r, c in zip(rows, columns, strict=True) if c > r
        ]
    return pairs


def _root(parents: list[int], node: int) -> int:
    while parents[node] != node:
        parents[node] = parents[parents[node]]
        node = parents[node]
    return node
