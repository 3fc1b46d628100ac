"""How the labels of a set are spread, and which rest on too few objects."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from classifier.examples.splits import ENOUGH_GROUPS, MIN_GROUPS


@dataclass(frozen=True, slots=True)
class LabelCount:
    """Pictures and different objects (groups) of one label."""

    label: str
    pictures: int
    objects: int

    @property
    def refused(self) -> bool:
        """Whether training refuses it: nothing would be left to judge it by."""
        return self.objects < MIN_GROUPS

    @property
    def thin(self) -> bool:
        """Whether the test split may well hold none of it."""
        return self.objects < ENOUGH_GROUPS


@dataclass(frozen=True, slots=True)
class Balance:
    """Counts of each label, the commonest first."""

    labels: tuple[LabelCount, ...]

    @property
    def imbalance(self) -> float | None:
        """Pictures of the commonest label for each of the rarest; None without labels."""
        if not self.labels:
            return None
        return self.labels[0].pictures / self.labels[-1].pictures


def balance_of(labels: Sequence[str], groups: Sequence[str]) -> Balance:
    """Count pictures and groups of each label."""
    pictures = Counter(labels)
    objects: dict[str, set[str]] = {}
    for label, group in zip(labels, groups, strict=True):
        objects.setdefault(label, set()).add(group)
    counts = [LabelCount(label, n, len(objects[label])) for label, n in pictures.items()]
    return Balance(tuple(sorted(counts, key=lambda each: (-each.pictures, each.label))))
