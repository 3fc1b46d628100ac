from __future__ import annotations

from decimal import Decimal

from classifier.log.ledger import fold
from classifier.log.piles import BatchTotal
from classifier.log.quantities import ZERO_MASS, Mass
from classifier.report.allocation import WeighedPile, allocate, route_counts, weighed_pile
from classifier.report.shares import Range
from tests.unit.rows import a_batch, a_sort, a_weighing, an_item


def exactly(grams: int, spread: int = 0) -> Mass:
    return Mass(Decimal(grams), Decimal(grams - spread), Decimal(grams + spread))


def pile_of(*routes: str | None) -> BatchTotal:
    items = [an_item(f"i{n}", route=route) for n, route in enumerate(routes)]
    ledger = fold(a_sort(), items, batches=[a_batch("b1")], weighings=[a_weighing("w1")])
    return ledger.batches[0]


def test_counts_by_route_with_open_ones_apart() -> None:
    items = [an_item("a", count=3), an_item("b", route=None), an_item("c")]
    assert route_counts(items) == {"kerbside": 4, "undecided": 1}


def test_a_pile_goes_by_its_own_objects() -> None:
    weighed = weighed_pile(pile_of("kerbside", None), [an_item("x", route="reuse")], uncounted="!")
    assert weighed is not None
    assert weighed.counts == {"kerbside": 1, "undecided": 1}


def test_a_pile_without_objects_goes_by_the_loose_ones_or_by_the_rules() -> None:
    loose = [an_item("x", route="reuse")]
    assert weighed_pile(pile_of(), loose, uncounted="!") == WeighedPile(
        exactly(1000, 10), {"reuse": 1}
    )
    assert weighed_pile(pile_of(), [], uncounted="!") == WeighedPile(exactly(1000, 10), {"!": 1})


def test_a_pile_without_a_weight_is_left_out() -> None:
    ledger = fold(a_sort(), [], batches=[a_batch("b1")])
    assert weighed_pile(ledger.batches[0], [], uncounted="!") is None


def test_whole_piles_are_measured_with_their_bounds() -> None:
    found = allocate(
        [WeighedPile(exactly(100, 5), {"a": 3}), WeighedPile(exactly(300, 5), {"b": 1})]
    )
    assert found["a"].measured == exactly(100, 5)
    assert found["a"].split_g == 0
    assert found["a"].share == Range(
        Decimal("0.25"), Decimal(95) / Decimal(400), Decimal(105) / Decimal(400)
    )


def test_mixed_piles_are_split_by_counts_and_their_bounds_do_not_trust_the_split() -> None:
    found = allocate(
        [WeighedPile(exactly(100), {"a": 1, "b": 3}), WeighedPile(exactly(300), {"b": 1})]
    )
    assert (found["a"].measured, found["a"].split_g) == (ZERO_MASS, Decimal(25))
    assert found["a"].share == Range(Decimal("0.0625"), Decimal(0), Decimal("0.25"))
    assert (found["b"].measured, found["b"].split_g) == (exactly(300), Decimal(75))
    assert found["b"].share == Range(Decimal("0.9375"), Decimal("0.75"), Decimal(1))


def test_routes_under_one_heading_are_measured_and_not_split() -> None:
    piles = [WeighedPile(exactly(100), {"a": 1, "b": 3}), WeighedPile(exactly(300), {"c": 1})]
    found = allocate(piles, lambda route: "ab" if route in "ab" else route)
    assert found["ab"].measured == exactly(100)
    assert found["ab"].split_g == 0


def test_nothing_weighed() -> None:
    assert allocate([]) == {}


def test_a_weight_of_nothing_has_no_share() -> None:
    assert allocate([WeighedPile(ZERO_MASS, {"a": 1})])["a"].share is None
