from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from classifier.errors import ConflictError, UnknownIdError
from classifier.log.ledger import Ledger, fold
from classifier.log.piles import BatchTotal
from classifier.log.quantities import Mass
from tests.unit.rows import (
    a_batch,
    a_change,
    a_sort,
    a_void,
    a_weighing,
    an_item,
    at,
    too_light,
)


def only_pile(ledger: Ledger) -> BatchTotal:
    (pile,) = ledger.batches
    return pile


def test_nothing_recorded() -> None:
    ledger = fold(a_sort(), [])
    assert (ledger.items, ledger.batches, ledger.categories) == ((), (), ())
    assert ledger.category("food").count == 0


def test_counts_by_category_in_order_of_time() -> None:
    ledger = fold(
        a_sort(),
        [
            an_item("i2", "food", count=3, minute=2),
            an_item("i1", minute=3),
            an_item("i0", "food", minute=2),
        ],
    )
    assert [item.id for item in ledger.items] == ["i0", "i2", "i1"]
    assert [(c.category, c.count, len(c.items)) for c in ledger.categories] == [
        ("food", 4, 2),
        ("pet_bottles", 1, 1),
    ]
    assert ledger.category("pet_bottles").count == 1


def test_a_correction_replaces_only_what_it_gives() -> None:
    item = an_item("i1", count=2, facts={"clean": "yes"}, batch_id="b1", suggested="food")
    ledger = fold(a_sort(), [item], [a_change("c1", "i1", count=5)])
    (now,) = ledger.items
    assert now.count == 5
    assert (now.category, now.route, now.facts, now.batch_id, now.suggested, now.at) == (
        item.category,
        item.route,
        item.facts,
        item.batch_id,
        item.suggested,
        item.at,
    )
    (correction,) = ledger.corrections
    assert (correction.before, correction.after) == (item, now)
    assert (correction.reason, correction.sorter, correction.at) == ("looked again", "Ben", at(20))


def test_a_correction_can_change_every_field() -> None:
    change = a_change(
        "c1",
        "i1",
        category="food",
        count=2,
        route="organics",
        facts={"clean": "no"},
        batch_id="b2",
    )
    (now,) = fold(a_sort(), [an_item("i1")], [change]).items
    assert (now.category, now.count, now.route, now.facts, now.batch_id) == (
        "food",
        2,
        "organics",
        {"clean": "no"},
        "b2",
    )


def test_corrections_apply_in_order_of_time_then_id() -> None:
    changes = [
        a_change("c3", "i1", count=3, minute=22),
        a_change("c2", "i1", count=2, minute=22),
        a_change("c1", "i1", count=9, minute=21),
    ]
    ledger = fold(a_sort(), [an_item("i1")], changes)
    assert ledger.items[0].count == 3
    assert [c.after.count for c in ledger.corrections] == [9, 2, 3]


@pytest.mark.parametrize("correct_minute", [10, 30])
def test_a_void_is_final_whenever_the_correction_came(correct_minute: float) -> None:
    changes = [
        a_change("c1", "i1", "void", minute=20),
        a_change("c2", "i1", count=4, minute=correct_minute),
    ]
    ledger = fold(a_sort(), [an_item("i1"), an_item("i2")], changes)
    assert [item.id for item in ledger.items] == ["i2"]
    assert [item.id for item in ledger.voided] == ["i1"]
    assert ledger.corrections == ()


def test_two_voids_are_one() -> None:
    changes = [a_change("c1", "i1", "void"), a_change("c2", "i1", "void")]
    assert len(fold(a_sort(), [an_item("i1")], changes).voided) == 1


def test_a_repeated_row_counts_once_and_another_row_under_its_id_is_a_conflict() -> None:
    assert len(fold(a_sort(), [an_item("i1"), an_item("i1")]).items) == 1
    with pytest.raises(ConflictError, match="two different Item rows have the id i1: an id is mad"):
        fold(a_sort(), [an_item("i1"), an_item("i1", count=2)])


def test_rows_of_another_sort_are_refused() -> None:
    with pytest.raises(ConflictError, match="row i1 belongs to sort s2, not to s1: fold one sort"):
        fold(a_sort(), [an_item("i1", sort_id="s2")])
    with pytest.raises(ConflictError, match="row b1 belongs to sort s2"):
        fold(a_sort(), [], batches=[a_batch("b1", sort_id="s2")])


def test_rows_that_name_nothing_are_refused() -> None:
    with pytest.raises(UnknownIdError, match="change c1 names item i9, which is not in this sort"):
        fold(a_sort(), [an_item("i1")], [a_change("c1", "i9")])
    with pytest.raises(UnknownIdError, match="weighing w1 names batch b9, which is not in this"):
        fold(a_sort(), [], weighings=[a_weighing("w1", "b9")])
    with pytest.raises(UnknownIdError, match="void v1 names weighing w9, which is not in this"):
        fold(a_sort(), [], batches=[a_batch("b1")], voids=[a_void("v1", "w9")])


def test_items_without_a_pile_belong_to_the_only_one() -> None:
    ledger = fold(a_sort(), [an_item("i1", count=4)], batches=[a_batch("b1")])
    assert only_pile(ledger).count == 4
    assert ledger.categories[0].loose == ()


def test_items_without_a_pile_stay_loose_where_there_are_two() -> None:
    ledger = fold(
        a_sort(),
        [an_item("i1"), an_item("i2", batch_id="b2"), an_item("i3", batch_id="b2")],
        batches=[a_batch("b1"), a_batch("b2")],
    )
    (category,) = ledger.categories
    assert [(p.batch.id, p.count) for p in category.batches] == [("b1", 0), ("b2", 2)]
    assert [item.id for item in category.loose] == ["i1"]


def test_an_item_corrected_into_another_category_leaves_its_pile() -> None:
    ledger = fold(
        a_sort(),
        [an_item("i1", batch_id="b1"), an_item("i2", batch_id="b1")],
        [a_change("c1", "i1", category="food")],
        [a_batch("b1")],
    )
    assert [item.id for item in only_pile(ledger).items] == ["i2"]
    assert [item.id for item in ledger.category("food").loose] == ["i1"]


def test_a_pile_without_items_has_a_category_line() -> None:
    ledger = fold(a_sort(), [], batches=[a_batch("b1", "food")], weighings=[a_weighing("w1")])
    total = ledger.category("food")
    assert (total.count, total.items) == (0, ())
    assert total.batches[0].mass == Mass(Decimal(1000), Decimal(990), Decimal(1010))


def test_several_weighings_are_averaged_and_their_spread_told() -> None:
    weighings = [a_weighing("w1", gross="1.25"), a_weighing("w2", gross="1.27", minute=11)]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert pile.mass == Mass(Decimal(1010), Decimal(1000), Decimal(1020))
    assert pile.spread_g == 20
    assert pile.spread_explained
    assert [w.id for w in pile.weighings] == ["w1", "w2"]


def test_a_spread_beyond_the_resolution_is_not_explained() -> None:
    weighings = [a_weighing("w1", gross="1.25"), a_weighing("w2", gross="1.28", minute=11)]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert pile.spread_g == 30
    assert not pile.spread_explained


def test_one_weighing_has_no_spread() -> None:
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=[a_weighing("w1")]))
    assert pile.spread_g is None
    assert pile.spread_explained


def test_a_voided_weighing_no_longer_counts() -> None:
    ledger = fold(
        a_sort(),
        [],
        batches=[a_batch("b1")],
        weighings=[a_weighing("w1", gross="9"), a_weighing("w2")],
        voids=[a_void("v1", "w1")],
    )
    assert only_pile(ledger).mass == Mass(Decimal(1000), Decimal(990), Decimal(1010))
    assert [w.id for w in ledger.voided_weighings] == ["w1"]


def test_a_pile_with_its_only_weighing_voided_is_not_weighed() -> None:
    ledger = fold(
        a_sort(),
        [an_item("i1", minute=20)],
        batches=[a_batch("b1")],
        weighings=[a_weighing("w1")],
        voids=[a_void("v1", "w1")],
    )
    pile = only_pile(ledger)
    assert (pile.state, pile.mass, pile.below_g, pile.count_after) == ("not_weighed", None, None, 0)


def test_below_resolution_keeps_the_finest_bound() -> None:
    weighings = [too_light("w1", resolution="0.05"), too_light("w2", resolution="0.01")]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert (pile.state, pile.mass) == ("below_resolution", None)
    assert pile.below_g == 10


def test_a_reading_beats_below_resolution() -> None:
    weighings = [a_weighing("w2", gross="0.02", tare=None), too_light("w1", resolution="0.05")]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert (pile.state, pile.below_g) == ("measured", None)
    assert pile.mass == Mass(Decimal(20), Decimal(15), Decimal(25))


def test_loads_of_a_pile_are_added_and_readings_of_one_averaged() -> None:
    weighings = [
        a_weighing("w1", gross="2.25"),  # 2000 g, 1990 to 2010
        a_weighing("w2", gross="1.25", minute=11, load=2),  # 1000 g, 990 to 1010
        a_weighing("w3", gross="1.27", minute=12, load=2),  # 1020 g, 1010 to 1030
    ]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert pile.mass == Mass(Decimal(3010), Decimal(2990), Decimal(3030))
    assert (pile.state, pile.below_g) == ("measured", None)
    assert (pile.spread_g, pile.spread_explained) == (20, True)
    assert [w.id for w in pile.weighings] == ["w1", "w2", "w3"]
    first, second = pile.loads
    assert (first.load, first.mass, first.spread_g) == (
        1,
        Mass(Decimal(2000), Decimal(1990), Decimal(2010)),
        None,
    )
    assert (second.load, [w.id for w in second.weighings]) == (2, ["w2", "w3"])
    assert second.mass == Mass(Decimal(1010), Decimal(1000), Decimal(1020))


def test_a_light_load_adds_its_bound_to_the_measured_ones() -> None:
    weighings = [
        a_weighing("w1"),
        too_light("w2", resolution="0.05", load=2),
        too_light("w3", resolution="0.02", load=2),
    ]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert pile.mass == Mass(Decimal(1000), Decimal(990), Decimal(1030))
    assert (pile.state, pile.below_g, pile.loads[1].below_g) == ("measured", None, 20)


def test_bounds_of_light_loads_are_added() -> None:
    weighings = [too_light("w1", resolution="0.05"), too_light("w2", load=2)]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert (pile.state, pile.mass, pile.below_g) == ("below_resolution", None, 60)


def test_an_unexplained_spread_of_one_load_is_told_before_a_larger_one_of_another() -> None:
    weighings = [
        a_weighing("w1", gross="1.25"),
        a_weighing("w2", gross="1.28", minute=11),
        a_weighing("w3", gross="2.2", resolution="0.1", minute=12, load=2),
        a_weighing("w4", gross="2.3", resolution="0.1", minute=13, load=2),
    ]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert [(load.spread_g, load.spread_explained) for load in pile.loads] == [
        (30, False),
        (100, True),
    ]
    assert (pile.spread_g, pile.spread_explained) == (30, False)


def test_a_load_taken_back_adds_nothing() -> None:
    weighings = [a_weighing("w1"), a_weighing("w2", gross="3", load=2)]
    ledger = fold(
        a_sort(),
        [],
        batches=[a_batch("b1")],
        weighings=weighings,
        voids=[a_void("v1", "w1")],
    )
    pile = only_pile(ledger)
    assert pile.mass == Mass(Decimal(2750), Decimal(2740), Decimal(2760))
    assert [load.load for load in pile.loads] == [2]


def test_contents_left_in_any_standing_weighing_are_noted() -> None:
    weighings = [a_weighing("w1", contents_left=True), a_weighing("w2")]
    pile = only_pile(fold(a_sort(), [], batches=[a_batch("b1")], weighings=weighings))
    assert pile.contents_left
    voided = fold(
        a_sort(), [], batches=[a_batch("b1")], weighings=weighings, voids=[a_void("v1", "w1")]
    )
    assert not only_pile(voided).contents_left


def test_objects_recorded_after_the_last_weighing_are_counted_apart() -> None:
    items = [an_item("i1", minute=9), an_item("i2", minute=10), an_item("i3", count=4, minute=11)]
    pile = only_pile(fold(a_sort(), items, batches=[a_batch("b1")], weighings=[a_weighing("w1")]))
    assert (pile.count, pile.count_after) == (6, 4)


def test_piles_that_hold_nothing_can_be_left_out() -> None:
    """A pile that was weighed stays, also where all of that was taken back."""
    piles = [a_batch(each, "food") for each in ("b1", "b2", "b3", "b4")]
    items = [an_item("i1", "food", batch_id="b1")]
    weighings = [a_weighing("w2", batch_id="b2"), a_weighing("w3", batch_id="b3")]
    rows: Any = (a_sort(), items, [], piles, weighings, [a_void("v1", "w3")])
    assert [pile.batch.id for pile in fold(*rows).batches] == ["b1", "b2", "b3", "b4"]
    left = fold(*rows, keep_empty=False).batches
    assert [pile.batch.id for pile in left] == ["b1", "b2", "b3"]


def test_without_empty_piles_a_loose_item_belongs_to_the_only_one_left() -> None:
    piles = [a_batch("b1", "food"), a_batch("b2", "food")]
    rows: Any = (a_sort(), [an_item("i1", "food")], [], piles, [a_weighing("w1", batch_id="b1")])
    (loose,) = fold(*rows).categories
    assert len(loose.loose) == 1
    (whole,) = fold(*rows, keep_empty=False).categories
    assert (whole.loose, whole.batches[0].count) == ((), 1)


# ---- something left in it


def test_what_is_set_apart_with_its_contents_is_counted_and_on_no_pile() -> None:
    pile = a_batch("b1", "pet_bottles")
    items = [
        an_item("i1", count=3),
        an_item("i2", count=2, route="with_contents"),
        an_item("i3", count=1, route="with_contents", batch_id="b1"),
        an_item("i4", "cartons", route="with_contents"),
    ]
    ledger = fold(a_sort(), items, batches=[pile])
    total = ledger.category("pet_bottles")
    assert (total.count, total.batches[0].count, total.loose) == (6, 3, ())
    assert (ledger.category("cartons").count, ledger.category("cartons").loose) == (1, ())
