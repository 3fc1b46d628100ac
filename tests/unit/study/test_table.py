"""The totals of a study as arrays: piles that share a category, and what is weighed of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from classifier.study.table import StudyTable
from classifier.study.totals import CountedItems, NamedItems, SortTotals, WeighedPile, WeighedPiles
from tests.unit.study.study_cases import a_member, table_of


def pile(
    batch: str,
    category: str = "pet_bottles",
    grams: float | None = None,
    *,
    below: float | None = None,
    touched: bool = True,
    left: bool = False,
) -> WeighedPile:
    low, high = (None, None) if grams is None else (grams - 1, grams + 1)
    return WeighedPile("s1", category, batch, touched, grams, low, high, below, left)


def table(
    piles: Sequence[WeighedPile],
    items: Sequence[tuple[str, str | None, int]] = (),
    named: Sequence[tuple[str, str, str | None, int]] = (),
    *,
    programme: str = "alder_valley",
) -> StudyTable:
    """Return the table of one sort: items by category and route, and those that name a pile."""
    counted, weighed = CountedItems(), WeighedPiles()
    counted.add(("s1", category, route, count, 1) for category, route, count in items)
    weighed.add(piles)
    own = (
        NamedItems("s1", category, route, batch, count, 1)
        for category, batch, route, count in named
    )
    member = a_member(1, programme_id=programme)
    return table_of(SortTotals((member,), counted, tuple(own), weighed, ()))


def by_route(found: StudyTable) -> dict[str, float]:
    sums = found.by_route.sum(axis=(0, 1))
    return {route: float(mass) for route, mass in zip(found.routes, sums, strict=True) if mass}


def test_each_of_several_piles_goes_by_the_objects_that_name_it() -> None:
    found = table(
        [pile("b1", grams=100), pile("b2", grams=300)],
        [("pet_bottles", "kerbside", 3), ("pet_bottles", "residual", 1)],
        [("pet_bottles", "b1", "kerbside", 3), ("pet_bottles", "b2", "residual", 1)],
    )
    assert by_route(found) == {"kerbside": 100, "residual": 300}
    assert (found.grams.sum(), found.low.sum(), found.high.sum()) == (400, 398, 402)
    assert not found.split.any()
    assert not found.unweighed.any()


def test_a_pile_that_nothing_names_goes_as_the_loose_objects_do() -> None:
    found = table(
        [pile("b1", grams=100), pile("b2", grams=300)],
        [("pet_bottles", "kerbside", 4), ("pet_bottles", "residual", 1)],
        [("pet_bottles", "b1", "residual", 1), ("pet_bottles", "gone", "kerbside", 2)],
    )
    assert by_route(found) == {"kerbside": 300, "residual": 100}


def test_mixed_objects_split_the_pile_by_counts() -> None:
    found = table(
        [pile("b1", grams=100), pile("b2", grams=300)],
        [("pet_bottles", "kerbside", 4), ("pet_bottles", None, 1)],
        [("pet_bottles", "b1", "kerbside", 1), ("pet_bottles", "b2", "kerbside", 2),
         ("pet_bottles", "b2", None, 1)],
    )  # fmt: skip
    assert by_route(found) == pytest.approx({"kerbside": 300, "undecided": 100})
    assert found.split.sum() == pytest.approx(300)


def test_where_one_pile_is_used_it_holds_everything() -> None:
    found = table(
        [pile("b1", grams=100), pile("b2", touched=False)],
        [("pet_bottles", "kerbside", 4)],
    )
    assert by_route(found) == {"kerbside": 100}
    assert not found.unweighed.any()


def test_piles_without_objects_go_the_one_way_that_the_rules_allow() -> None:
    piles = [pile("b1", "steel_cans", 100), pile("b2", "steel_cans", 50)]
    assert by_route(table(piles)) == {"kerbside": 150}
    assert by_route(table(piles, programme="gone")) == {"undecided": 150}
    assert by_route(table([pile("b1", "steel_cans", 100)])) == {"kerbside": 100}
    assert by_route(table([pile("b1", "left_the_list", 100)])) == {"undecided": 100}


def test_what_was_found_and_not_weighed_is_said() -> None:
    half = table([pile("b1", grams=100), pile("b2")], [("pet_bottles", "kerbside", 2)])
    assert half.unweighed.all()
    light = table([pile("b1", below=5), pile("b2", below=4)], [("pet_bottles", "kerbside", 2)])
    assert (light.grams.sum(), light.high.sum()) == (0, 9)
    assert not light.unweighed.any()
    alone = table([pile("b1", below=5)], [("pet_bottles", "kerbside", 2)])
    assert (alone.grams.sum(), alone.high.sum()) == (0, 5)
    nothing = table([pile("b1", touched=False), pile("b2", touched=False)])
    assert nothing.grams.shape == (1, 0)


def test_categories_that_left_the_list_and_unknown_routes_stand_last() -> None:
    found = table([], [("left_the_list", "by_drone", 1), ("food", "organics", 1)])
    assert found.categories == ("food", "left_the_list")
    assert found.routes[-2:] == ("undecided", "by_drone")
    assert found.contents_left == 0
    assert np.array_equal(found.objects, [[1, 1]])


def test_contents_left_in_are_counted() -> None:
    assert table([pile("b1", grams=9, left=True)]).contents_left == 1
