"""Deterministic splits by group: a group never straddles two of them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

SPLITS = ("train", "calibrate", "test")


def split_groups(
    groups: Sequence[str], *, calibrate: float = 0.1, test: float = 0.15, seed: int = 0
) -> list[str]:
    """Name the split of each picture by a hash of its group.

    A group keeps its split when pictures are added or left out, which a shuffled list would not
    give. Shares are of groups, in expectation.
    """
    drawn = {group: _unit_hash(group, seed) for group in set(groups)}
    return [
        "test"
        if drawn[group] < test
        else "calibrate"
        if drawn[group] < test + calibrate
        else "train"
        for group in groups
    ]


def _unit_hash(group: str, seed: int) -> float:
    digest = hashlib.sha256(f"{seed}:{group}".encode()).digest()
    return int.from_bytes(digest[:8], "big") / 2**64
