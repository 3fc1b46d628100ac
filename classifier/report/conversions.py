"""Counts to weights and back: what the report is given for it, and what is far from usual.

The intervals come from `classifier.estimators.conversion`; the domain imports the standard library
only, so a fit comes in behind a protocol. Estimates stay apart from what was measured.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, Protocol

from classifier.log.quantities import Mass
from classifier.report.item_weights import CountedMass, PriorWeights
from classifier.report.shares import Range

Scope = Literal["sort", "study", "store"]
"""Over which sorts the mean item weights are pooled."""

ENOUGH_TO_JUDGE = 5
"""Batches of a category from which the batches themselves say what is usual."""
PRIOR_FACTOR = 3
"""How far from the published weights is far, with fewer batches (common practice, no source)."""
PRIOR_LEAST_COUNT = 5
"""Objects that a batch needs to be held against a published average."""


class Interval(Protocol):
    """An estimate with the ends of its interval."""

    @property
    def value(self) -> float:
        """The point estimate."""

    @property
    def low(self) -> float:
        """Lower end."""

    @property
    def high(self) -> float:
        """Upper end."""

    @property
    def level(self) -> float:
        """Confidence level, between 0 and 1."""


class Fit(Protocol):
    """A mean item weight with its error between two batches or more."""

    def mean(self) -> Interval:
        """Return grams per item."""

    def weight_of(self, count: int) -> Interval:
        """Return grams of so many items."""

    def count_of(
        self, grams: float, low: float | None = None, high: float | None = None
    ) -> Interval:
        """Return items in so many grams."""


@dataclass(frozen=True, slots=True)
class PooledWeight:
    """The mean weight of one object of a category, pooled over batches of one sort or more.

    `item_g` is the ratio of sums; `fit` is `None` for a single batch, which shows no error.
    """

    category: str
    item_g: Decimal
    batches: int
    objects: int
    sorts: int
    fit: Fit | None

    def item(self) -> Range:
        """Return grams per object."""
        return self._range(self.item_g, None if self.fit is None else self.fit.mean())

    def weight_of(self, count: int) -> Range:
        """Return grams of `count` objects, at least 1."""
        return self._range(
            count * self.item_g, None if self.fit is None else self.fit.weight_of(count)
        )

    def count_of(self, mass: Mass) -> Range:
        """Return objects in a measured mass, whose bounds widen the interval."""
        grams, low, high = (float(each) for each in (mass.value_g, mass.low_g, mass.high_g))
        found = None if self.fit is None else self.fit.count_of(grams, low, high)
        return self._range(mass.value_g / self.item_g, found)

    @staticmethod
    def _range(value: Decimal, found: Interval | None) -> Range:
        if found is None:
            return Range(value)
        # The float's digits, not its binary fraction: reports round them anyway.
        return Range(value, *(Decimal(repr(each)) for each in (found.low, found.high, found.level)))


@dataclass(frozen=True, slots=True)
class FarFromUsual:
    """A batch whose objects weigh far more or less than those of its category do."""

    batch_id: str
    item_g: Decimal
    low_g: Decimal
    high_g: Decimal
    basis: str


@dataclass(frozen=True, slots=True)
class ItemWeights:
    """Mean item weights for a report; `words` say which batches they are from."""

    scope: Scope
    words: str
    pooled: Mapping[str, PooledWeight]
    far: tuple[FarFromUsual, ...]


def far_from_prior(
    batches: Sequence[CountedMass], priors: PriorWeights | None
) -> tuple[FarFromUsual, ...]:
    """Return batches far from the published weights, where too few batches could judge themselves.

    A batch of 5 objects or more is far when its mean item weight is over three times the heaviest
    published value of its category, or under a third of the lightest. Categories with 5 batches or
    more are left to `classifier.estimators.far_batches`.
    """
    number = Counter(batch.category for batch in batches)
    found = []
    for batch in batches:
        known = priors.of(batch.category) if priors else ()
        if not known or number[batch.category] >= ENOUGH_TO_JUDGE:
            continue
        low = min(prior.item_g for prior in known) / PRIOR_FACTOR
        high = max(prior.item_g for prior in known) * PRIOR_FACTOR
        if batch.count >= PRIOR_LEAST_COUNT and not low <= batch.item_g <= high:
            basis = (
                f"three times either way around the published weight of {known[0].material} "
                f"(code {known[0].code})"
            )
            found.append(FarFromUsual(batch.batch_id, batch.item_g, low, high, basis))
    return tuple(found)
