"""Deterministic splits by group: a group never straddles two of them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from classifier.domain.errors import DataFileError

SPLITS = ("train", "calibrate", "test")
MIN_GROUPS = 2  # of each label: one to learn from and one to be judged by


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


def refuse_thin_labels(labels: Sequence[str], groups: Sequence[str]) -> None:
    """Raise DataFileError for labels that occur in fewer than `MIN_GROUPS` groups."""
    members: dict[str, set[str]] = {}
    for label, group in zip(labels, groups, strict=True):
        if label:
            members.setdefault(label, set()).add(group)
    thin = [f"{label} ({len(m)})" for label, m in sorted(members.items()) if len(m) < MIN_GROUPS]
    if thin:
        raise DataFileError(
            f"labels with too few groups of pictures: {', '.join(thin)}; each needs at least "
            f"{MIN_GROUPS}. Pictures that look alike, or whose file numbers follow each other, are "
            "one group: add pictures of other objects, give groups in a manifest, or leave the "
            "label out"
        )


def refuse_empty_splits(splits: Sequence[str]) -> None:
    """Raise DataFileError where labelled pictures are missing in one of the splits."""
    if missing := set(SPLITS) - set(splits):
        raise DataFileError(
            f"too few groups of labelled pictures: none fell to {', '.join(sorted(missing))}; "
            "add pictures of other objects (about 40 groups are enough)"
        )


def _unit_hash(group: str, seed: int) -> float:
    digest = hashlib.sha256(f"{seed}:{group}".encode()).digest()
    return int.from_bytes(digest[:8], "big") / 2**64
