"""Counts to weights and back in a report: what it is given, and what it makes of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from classifier.csv_text import csv_line, csv_text, plain_cell
from classifier.estimators.conversion import fit_item_weight
from classifier.log.ledger import fold
from classifier.log.quantities import ZERO_MASS, Mass
from classifier.log.records import Batch, Item, Weighing
from classifier.report.as_json import report_json
from classifier.report.build import build_report
from classifier.report.conversions import (
    FarFromUsual,
    ItemWeights,
    PooledWeight,
    Scope,
    far_from_prior,
)
from classifier.report.item_weights import CountedMass, counted_masses, load_prior_weights
from classifier.report.lines import Report
from classifier.report.rows import report_rows
from classifier.report.shares import ShareRange, range_of
from tests.unit.rows import a_batch, a_sort, a_weighing, an_item, too_light
from tests.unit.rules.small_programme import small_categories, small_programme

PRIORS = load_prior_weights()
FIT = fit_item_weight([500, 260, 380], [20, 10, 15])


def pooled(category: str = "pet_bottles", *, single: bool = False) -> PooledWeight:
    if single:
        return PooledWeight(category, Decimal(25), 1, 20, 1, None)
    return PooledWeight(category, Decimal(1140) / 45, 3, 45, 2, FIT)


def weights(
    *lines: PooledWeight, scope: Scope = "study", far: Sequence[FarFromUsual] = ()
) -> ItemWeights:
    words = "this sort" if scope == "sort" else "the 2 sorts of the study 'Flats'"
    return ItemWeights(scope, words, {line.category: line for line in lines}, tuple(far))


def report_of(
    items: Sequence[Item] = (),
    batches: Sequence[Batch] = (),
    weighings: Sequence[Weighing] = (),
    *,
    item_weights: ItemWeights | None = None,
    priors: bool = True,
) -> Report:
    return build_report(
        fold(a_sort(closed=True), items, (), batches, weighings),
        small_categories(),
        small_programme(),
        priors=PRIORS if priors else None,
        item_weights=item_weights,
    )


def rows_of(report: Report, measure: str) -> list[Mapping[str, object]]:
    return [row for row in report_rows(report) if row["measure"] == measure]


def test_a_counted_pile_gets_the_interval_of_the_study() -> None:
    report = report_of([an_item("i1", count=40)], item_weights=weights(pooled()))
    (line,) = report.estimates
    expected = FIT.weight_of(40)
    assert line.method == "pooled_mean_item_weight"
    assert float(line.grams.value) == pytest.approx(expected.value)
    assert float(line.grams.low or 0) == pytest.approx(expected.low)
    assert float(line.grams.high or 0) == pytest.approx(expected.high)
    assert line.grams.level == Decimal("0.9")
    assert line.range_is == "90 % prediction interval, t between 3 piles"
    assert line.basis == (
        "mean item weight of the 2 sorts of the study 'Flats': 45 weighed objects, piles: 3"
    )
    assert report.total.mass == ZERO_MASS
    (found,) = [row for row in rows_of(report, "net_weight") if row["basis"] == "estimated"][1:]
    assert str(found["source"]).endswith("piles: 3; 90 % prediction interval, t between 3 piles")


def test_a_single_batch_gives_a_value_and_no_interval() -> None:
    report = report_of(
        [an_item("i1", count=4)], item_weights=weights(pooled(single=True), scope="sort")
    )
    (line,) = report.estimates
    assert (line.grams.value, line.grams.low, line.grams.level) == (Decimal(100), None, None)
    assert line.method == "own_mean_item_weight"
    assert line.range_is == "one batch: how much batches differ is not known"


def test_a_weighed_pile_gets_a_count_that_stays_apart() -> None:
    report = report_of(
        (), [a_batch("b1"), a_batch("b2")], [a_weighing("w1"), a_weighing("w2", "b2")],
        item_weights=weights(pooled()),
    )  # fmt: skip
    (line,) = report.count_estimates
    expected = FIT.count_of(2000, 1980, 2020)
    assert line.mass == Mass(Decimal(2000), Decimal(1980), Decimal(2020))
    assert float(line.count.value) == pytest.approx(expected.value)
    assert float(line.count.low or 0) == pytest.approx(expected.low)
    assert float(line.count.high or 0) == pytest.approx(expected.high)
    assert report.total.count == 0
    found = report_json(report)["count_estimates"][0]
    assert found["count"]["value"] == pytest.approx(expected.value, abs=1e-6)
    assert found["net_g"]["value"] == 2000.0
    (row,) = [row for row in rows_of(report, "objects") if row["basis"] == "estimated"]
    assert row["unit"] == "1"


def test_a_published_weight_counts_a_pile_only_as_a_labelled_fallback() -> None:
    report = report_of((), [a_batch("b1")], [a_weighing("w1")], item_weights=weights())
    (line,) = report.count_estimates
    assert (line.method, line.code, line.count.level) == ("prior_item_weight", "B", None)
    assert round(line.count.value, 1) == Decimal("53.6")
    assert line.count.low is not None
    assert line.count.low < line.count.value
    assert line.range_is.startswith("span of the published values")
    assert [note.code for note in report.notes][-1] == "prior"


def test_a_single_published_weight_has_no_span() -> None:
    report = report_of((), [a_batch("b1", "aluminium_cans")], [a_weighing("w1")])
    (line,) = report.count_estimates
    assert (line.count.low, line.count.high, line.range_is) == (None, None, "")


def test_without_a_basis_a_pile_gets_no_count() -> None:
    assert report_of((), [a_batch("b1", "food")], [a_weighing("w1")]).count_estimates == ()
    assert report_of((), [a_batch("b1")], [a_weighing("w1")], priors=False).count_estimates == ()


@pytest.mark.parametrize(
    ("items", "weighing"),
    [
        ([], a_weighing("w1", contents_left=True)),
        ([], too_light("w1")),
        ([an_item("i1")], a_weighing("w1")),
    ],
)
def test_piles_that_can_not_tell_a_count(items: list[Item], weighing: Weighing) -> None:
    report = report_of(items, [a_batch("b1")], [weighing], item_weights=weights(pooled()))
    assert report.count_estimates == ()


def test_objects_in_no_pile_may_be_in_the_uncounted_one() -> None:
    report = report_of(
        [an_item("i1")], [a_batch("b1"), a_batch("b2")], [a_weighing("w1")],
        item_weights=weights(pooled()),
    )  # fmt: skip
    assert report.count_estimates == ()


def test_the_table_of_item_weights_says_which_batches() -> None:
    report = report_of([an_item("i1")], item_weights=weights(pooled(), pooled("food")))
    table = report.item_weights
    assert table is not None
    (line,) = table.lines
    assert (line.batches, line.objects, line.sorts) == (3, 45, 2)
    assert float(line.item.low or 0) == pytest.approx(FIT.mean().low)
    found = report_json(report)["item_weights"]
    assert isinstance(found, dict)
    assert (found["scope"], found["categories"][0]["level"]) == ("study", 0.9)
    (row,) = rows_of(report, "mean_item_weight")
    assert row["source"] == (
        "the 2 sorts of the study 'Flats': 45 objects, piles: 3; 90 % interval of the mean"
    )


def test_a_mean_of_one_batch_has_no_interval_in_the_rows() -> None:
    report = report_of([an_item("i1")], item_weights=weights(pooled(single=True)))
    (row,) = rows_of(report, "mean_item_weight")
    assert (row["value"], row["low"]) == (25.0, None)


def test_a_far_pile_is_a_note_and_a_line() -> None:
    far = FarFromUsual("b1", Decimal(1000), Decimal(20), Decimal(40), "from 6 other piles")
    other = replace(far, batch_id="elsewhere")
    batches = [replace(a_batch("b1"), label="tub"), a_batch("b2", "food")]
    report = report_of([an_item("i1")], batches, item_weights=weights(far=(far, other)))
    (line,) = report.far_item_weights
    assert (line.label, line.item_g) == ("tub", Decimal(1000))
    assert report_json(report)["far_item_weights"][0]["high_g"] == 40.0
    (note,) = [note for note in report.notes if note.code == "far_item_weight"]
    assert note.text.startswith(
        "PET bottles and jars, 'tub': 1000.0 g an object, far from the 20.0 to 40.0 g expected "
        "(from 6 other piles). Wrong pile, wrong count or unit, wet, or contents left in?"
    )


def test_a_far_pile_without_a_label_is_named_by_its_category() -> None:
    far = FarFromUsual("b1", Decimal(1000), Decimal(20), Decimal(40), "x")
    batches = [replace(a_batch("b1"), label="")]
    report = report_of([an_item("i1")], batches, item_weights=weights(far=(far,)))
    assert any(n.text.startswith("PET bottles and jars: 1000.0 g") for n in report.notes)


def batch(grams: int, count: int, category: str = "aluminium_cans") -> CountedMass:
    return CountedMass(f"b{grams}", "s1", category, Decimal(grams), count)


def test_few_batches_are_held_against_the_published_weight() -> None:
    heavy, light, usual, one = batch(500, 10), batch(40, 10), batch(150, 10), batch(99, 1)
    found = far_from_prior([heavy, light, usual, one], PRIORS)
    assert [each.batch_id for each in found] == ["b500", "b40"]
    assert "published weight of Aluminium beverage cans (code B)" in found[0].basis
    assert round(found[0].high_g, 1) == Decimal("45.8")


def test_many_batches_or_no_published_weight_are_left_alone() -> None:
    assert far_from_prior([batch(500 + n, 10) for n in range(5)], PRIORS) == ()
    assert far_from_prior([batch(9000, 10, "food")], PRIORS) == ()
    assert far_from_prior([batch(9000, 10)], None) == ()


def test_only_piles_whose_weight_and_count_belong_together_tell_an_item_weight() -> None:
    ledger = fold(
        a_sort(),
        [an_item("i1", batch_id="b1", count=8), an_item("i2", batch_id="b2", count=2)],
        batches=[a_batch("b1"), a_batch("b2"), a_batch("b3")],
        weighings=[
            a_weighing("w1"), a_weighing("w2", "b2", contents_left=True), a_weighing("w3", "b3"),
        ],
    )  # fmt: skip
    (found,) = counted_masses(ledger.batches)
    assert (found.batch_id, found.item_g) == ("b1", Decimal(125))


def test_light_piles_widen_every_share() -> None:
    report = report_of(
        [an_item("i1"), an_item("i2", "food")],
        [a_batch("b1"), a_batch("b2", "food"), a_batch("b3", "plastic_film")],
        [a_weighing("w1"), a_weighing("w2", "b2"), too_light("w3", "b3")],
    )
    lines = {line.category: line.share_range for line in report.categories}
    assert lines["plastic_film"] == ShareRange(Decimal(0), Decimal(10) / (10 + 1980))
    bottles = lines["pet_bottles"]
    assert bottles is not None
    assert bottles.low == Decimal(990) / (990 + 1010 + 10)
    assert bottles.high == Decimal(1010) / (1010 + 990)
    plastics = report.groups[0].share_range
    assert plastics is not None
    assert plastics.high == Decimal(1020) / (1020 + 990)
    light = [r for r in rows_of(report, "share_with_light_piles") if r["level"] == "category"]
    assert len(light) == 3
    assert light[0]["value"] is None


def test_a_share_of_nothing_has_no_range() -> None:
    assert range_of(ZERO_MASS, ZERO_MASS) is None
    assert report_of([an_item("i1")]).categories[0].share_range is None


def test_csv_keeps_dates_lists_numbers_and_no_formula() -> None:
    assert plain_cell(date(2026, 3, 2)) == "2026-03-02"
    assert plain_cell({"b": 1, "a": "=x"}) == '{"a": "=x", "b": 1}'
    assert plain_cell(["x;=1"]) == '["x;\'=1"]'
    assert plain_cell(-1.5) == -1.5
    assert csv_line(["=1", None, -2]) == "'=1,,-2\r\n"
    assert csv_text(["@a"], [["x,y"], ["+"]]) == "'@a\r\n\"x,y\"\r\n'+\r\n"
