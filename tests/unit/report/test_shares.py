from __future__ import annotations

from decimal import Decimal

from classifier.log.quantities import ZERO_MASS, Mass
from classifier.report.shares import Range, count_share, share_of, subtract


def mass(value: str, low: str, high: str) -> Mass:
    return Mass(Decimal(value), Decimal(low), Decimal(high))


def test_bounds_are_reached_at_opposite_ends() -> None:
    share = share_of(mass("1", "0.9", "1.1"), mass("3", "2.9", "3.1"))
    assert share == Range(Decimal("0.25"), Decimal("0.225"), Decimal("0.275"))


def test_the_only_mass_is_the_whole_for_certain() -> None:
    assert share_of(mass("1", "0.5", "2"), ZERO_MASS) == Range(Decimal(1), Decimal(1), Decimal(1))


def test_a_mass_that_may_be_nothing_has_low_share_zero() -> None:
    share = share_of(mass("1", "0", "2"), ZERO_MASS)
    assert share == Range(Decimal(1), Decimal(0), Decimal(1))


def test_nothing_has_no_share() -> None:
    assert share_of(ZERO_MASS, ZERO_MASS) is None


def test_subtraction() -> None:
    masses = [mass("1", "0.9", "1.1"), mass("3", "2.9", "3.1")]
    assert subtract(masses[0] + masses[1], masses[1]) == masses[0]


def test_count_shares() -> None:
    assert count_share(1, 4) == Decimal("0.25")
    assert count_share(0, 0) == 0
