"""Splits of a training run, and refusals where they could not judge anything."""

from __future__ import annotations

from collections.abc import Sequence

from classifier.errors import DataFileError
from classifier.examples.splits import MIN_GROUPS, SPLITS


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
