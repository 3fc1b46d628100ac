"""Containers per pound to grams each and back, on California's published averages.

Sources (code B, seen in stored copies; DOMAIN.md 3.2): CalRecycle,
calrecycle.ca.gov/BevContainer/Consumers/Important, effective 1 July 2022 (PET 24.3, HDPE 7.6);
socalrecycling.com/recycling-rates, undated posting of state rates (the others).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from classifier.log.quantities import Unit
from classifier.report.item_weights import PriorWeight, load_prior_weights

TABLE = [
    ("24.3", "18.67"),
    ("7.6", "59.68"),
    ("29.7", "15.27"),
    ("1.97", "230.25"),
    ("22.6", "20.07"),
    ("6.8", "66.70"),
    ("9.7", "46.76"),
    ("39.5", "11.48"),
    ("11.0", "41.24"),
    ("110.0", "4.12"),
    ("3.1", "146.32"),
    ("8.0", "56.70"),
]


@pytest.mark.parametrize(("per_pound", "grams"), TABLE)
def test_code_b_grams_of_one_container(per_pound: str, grams: str) -> None:
    prior = PriorWeight("c", "m", Decimal(per_pound), "d", "s", "B")
    assert round(prior.item_g, 2) == Decimal(grams)


@pytest.mark.parametrize(("per_pound", "grams"), TABLE)
def test_code_b_and_back_to_containers_per_pound(per_pound: str, grams: str) -> None:
    """Grams are printed to 0.005: for the heaviest kinds that is far below the last digit."""
    back = Unit.LB.grams / Decimal(grams)
    slack = back * Decimal("0.005") / Decimal(grams)
    assert abs(back - Decimal(per_pound)) <= slack


def test_the_shipped_table_holds_only_published_values() -> None:
    published = {Decimal(per_pound) for per_pound, _ in TABLE}
    shipped = load_prior_weights().weights
    assert {weight.containers_per_lb for weight in shipped} <= published
    assert {weight.code for weight in shipped} == {"B"}
