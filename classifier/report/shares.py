"""Shares of a measured total, with the bounds that scale resolution sets.

Pure Python and not in `classifier.estimators`, because a report needs it and the domain imports the
standard library only. `classifier.estimators.composition` does the same on arrays of many sorts;
a test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from classifier.log.quantities import Mass

_ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class Range:
    """A figure with its range: a share, a rate or an estimate.

    Bounds of scale resolution hold for certain and have no `level`; an interval has its confidence
    level there, 0 to 1. Without any range `low`, `high` and `level` are all `None`. Ranges are
    never added; what adds up is a measured `Mass`.
    """

    value: Decimal
    low: Decimal | None = None
    high: Decimal | None = None
    level: Decimal | None = None


@dataclass(frozen=True, slots=True)
class ShareRange:
    """Where a part of a whole lies for certain, as fractions; nobody knows where within."""

    low: Decimal
    high: Decimal


def range_of(part: Mass, rest: Mass) -> ShareRange | None:
    """Return the bounds of the share of `part`, `None` if neither can weigh anything.

    Bounds as in `share_of`, whose `value` is not needed: a pile too light for its scale has bounds
    (0 to one step) and no value.
    """
    if part.high_g + rest.high_g == 0:
        return None
    return ShareRange(_fraction(part.low_g, rest.high_g), _fraction(part.high_g, rest.low_g))


def share_of(part: Mass, rest: Mass) -> Range | None:
    """Return the share of `part` in `part` and `rest` together, `None` if both are zero.

    The share x / (x + y) grows with x and falls with y, so its extremes over all masses within
    their bounds are at low x with high y and at high x with low y: the bounds are sharp.
    """
    whole_g = part.value_g + rest.value_g
    if whole_g == 0:
        return None
    return Range(
        value=part.value_g / whole_g,
        low=_fraction(part.low_g, rest.high_g),
        high=_fraction(part.high_g, rest.low_g),
    )


def _fraction(part_g: Decimal, rest_g: Decimal) -> Decimal:
    """Return part of whole, 0 for nothing of nothing (a light part alone, at its lower bound)."""
    return part_g / (part_g + rest_g) if part_g else _ZERO


def subtract(whole: Mass, part: Mass) -> Mass:
    """Return `whole` without `part`, where `part` is one of the masses that `whole` sums."""
    return Mass(whole.value_g - part.value_g, whole.low_g - part.low_g, whole.high_g - part.high_g)


def count_share(part: int, whole: int) -> Decimal:
    """Return the share of `part` objects in `whole`, 0 if there are none."""
    return Decimal(part) / whole if whole else _ZERO
