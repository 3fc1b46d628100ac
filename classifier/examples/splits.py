"""Deterministic splits by group: a group never straddles two of them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np

SPLITS = ("train", "calibrate", "test")
CALIBRATE_SHARE, TEST_SHARE = 0.1, 0.15
MIN_GROUPS = 2  # of each label: one to learn from and one to be judged by
ENOUGH_GROUPS = 19  # so that the test split holds one in 19 of 20 draws: 1 - 0.85**19 = 0.954


def split_groups(
    groups: Sequence[str],
    *,
    calibrate: float = CALIBRATE_SHARE,
    test: float = TEST_SHARE,
    seed: int = 0,
) -> list[str]:
    """Name the split of each picture by a hash of its group.

    A group keeps its split when pictures are added or left out, which a shuffled list would not
    give. Shares are of groups, in expectation.
    """
    drawn = {group: unit_hash(group, seed) for group in set(groups)}
    return [
        "test"
        if drawn[group] < test
        else "calibrate"
        if drawn[group] < test + calibrate
        else "train"
        for group in groups
    ]


def fold_groups(groups: Sequence[str], labels: Sequence[str], folds: int) -> list[int]:
    """Name the fold (0 to folds - 1) of each picture so that groups stay whole.

    Groups of one label (the commonest in the group) are dealt out in turn, in order of a hash, so
    that each fold holds about as many of each label; the same input gives the same folds.
    """
    members: dict[str, list[str]] = {}
    for group, label in zip(groups, labels, strict=True):
        members.setdefault(group, []).append(label)
    ordered = sorted(members, key=lambda group: (_commonest(members[group]), unit_hash(group, 0)))
    fold = {group: place % folds for place, group in enumerate(ordered)}
    return [fold[group] for group in groups]


def unit_hash(group: str, seed: int) -> float:
    """Return a number from 0 to 1 that depends on the name and the seed alone."""
    digest = hashlib.sha256(f"{seed}:{group}".encode()).digest()
    return int.from_bytes(digest[:8], "big") / 2**64


def _commonest(labels: Sequence[str]) -> str:
    names, times = np.unique(np.asarray(labels), return_counts=True)
    return str(names[times.argmax()])
