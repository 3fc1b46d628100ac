"""Exact conversions: NIST Special Publication 811 (2008), Appendix B.8 and footnotes.

The pound is 0.45359237 kg and the ounce 1/16 of it, both exactly, by definition since 1959.
Confidence code C (DOMAIN.md 3.1): from memory, exact by definition.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from classifier.log.quantities import Reading, Unit


@pytest.mark.parametrize(
    ("unit", "grams"),
    [
        (Unit.KG, "1000"),
        (Unit.G, "1"),
        (Unit.LB, "453.59237"),
        (Unit.OZ, "28.349523125"),
    ],
)
def test_grams_in_a_unit(unit: Unit, grams: str) -> None:
    assert unit.grams == Decimal(grams)
    assert Reading(Decimal(1), unit, Decimal("0.1")).grams == Decimal(grams)


def test_sixteen_ounces_make_a_pound() -> None:
    assert 16 * Unit.OZ.grams == Unit.LB.grams


def test_a_short_ton_of_2000_lb_is_907_18474_kg() -> None:
    assert 2000 * Unit.LB.grams == Decimal("907184.74")
