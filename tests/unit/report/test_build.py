from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from classifier.log.ledger import fold
from classifier.log.quantities import ZERO_MASS, Mass
from classifier.log.records import Batch, Item, ItemChange, SortInfo, Weighing, WeighingVoid
from classifier.report.build import build_report, per_person_week
from classifier.report.item_weights import load_prior_weights
from classifier.report.lines import CategoryLine, Report, RouteLine
from classifier.report.national import load_national
from classifier.report.routes import kind_of
from classifier.rules.programme import Programme
from tests.unit.rows import a_batch, a_change, a_sort, a_void, a_weighing, an_item, too_light
from tests.unit.rules.small_programme import small_categories, small_programme


def exactly(grams: str, spread: str = "0") -> Mass:
    value, by = Decimal(grams), Decimal(spread)
    return Mass(value, value - by, value + by)


def report_of(
    items: Sequence[Item] = (),
    *,
    changes: Sequence[ItemChange] = (),
    batches: Sequence[Batch] = (),
    weighings: Sequence[Weighing] = (),
    voids: Sequence[WeighingVoid] = (),
    sort: SortInfo | None = None,
    programme: Programme | None = None,
    with_priors: bool = False,
) -> Report:
    ledger = fold(sort or a_sort(closed=True), items, changes, batches, weighings, voids)
    return build_report(
        ledger,
        small_categories(),
        programme or small_programme(),
        priors=load_prior_weights() if with_priors else None,
    )


def category(report: Report, category_id: str) -> CategoryLine:
    (line,) = [line for line in report.categories if line.category == category_id]
    return line


def way(lines: Sequence[RouteLine], route: str) -> RouteLine:
    (line,) = [line for line in lines if line.route == route]
    return line


def codes(report: Report) -> list[str]:
    return [note.code for note in report.notes]


def test_an_empty_sort_reports_nothing_and_breaks_nothing() -> None:
    report = report_of()
    assert (report.categories, report.groups, report.routes) == ((), (), ())
    assert report.total.mass == ZERO_MASS
    assert report.total.estimated_g is None
    assert report.rate.kg.value == 0
    assert codes(report) == ["nothing_measured"]
    assert [kind.share_count for kind in report.kinds] == [0, 0, 0, 0]


def test_measured_weights_with_shares_groups_and_rate() -> None:
    report = report_of(
        [
            an_item("i1", count=3),
            an_item("i2", "food", route="organics"),
            an_item("i3", "plastic_film", route="residual"),
        ],
        batches=[a_batch("b1"), a_batch("b2", "food"), a_batch("b3", "plastic_film")],
        weighings=[
            a_weighing("w1", "b1", gross="1", tare=None),
            a_weighing("w2", "b2", gross="2", tare=None),
            a_weighing("w3", "b3", gross="1", tare=None),
        ],
    )
    bottles = category(report, "pet_bottles")
    assert bottles.name == "PET bottles and jars"
    assert (bottles.group, bottles.items, bottles.count, bottles.batches) == ("plastics", 1, 3, 1)
    assert bottles.mass == exactly("1000", "5")
    assert bottles.weighed == "measured"
    assert bottles.share_count == Decimal("0.6")
    assert bottles.mean_item_g == Decimal(1000) / 3
    assert bottles.share_weight is not None
    assert bottles.share_weight.value == Decimal("0.25")
    assert bottles.share_weight.low == Decimal(995) / (995 + 3010)
    assert bottles.share_weight.high == Decimal(1005) / (1005 + 2990)
    assert [line.category for line in report.categories] == ["pet_bottles", "plastic_film", "food"]
    plastics, organics = report.groups
    assert (plastics.name, plastics.items, plastics.count) == ("Plastics", 2, 4)
    assert plastics.mass == exactly("2000", "10")
    assert plastics.share_weight is not None
    assert plastics.share_weight.value == Decimal("0.5")
    assert (organics.group, organics.share_count) == ("organics", Decimal("0.2"))
    assert report.total.mass == exactly("4000", "15")
    assert (report.total.items, report.total.count) == (3, 5)
    assert (report.total.batches, report.total.weighings) == (3, 3)
    assert report.rate.kg.value == 2
    assert codes(report) == []


def test_rate_per_person_and_week_in_kg_and_lb() -> None:
    rate = per_person_week(exactly("45359.237", "1000"), a_sort(days=14, persons=5))
    assert rate.kg.value == Decimal("4.5359237")
    assert rate.lb.value == 10
    assert (rate.kg.low, rate.kg.high) == (Decimal("4.4359237"), Decimal("4.6359237"))
    assert round(rate.lb.low or 0, 3) == Decimal("9.780")
    assert round(rate.lb.high or 0, 3) == Decimal("10.220")


def test_piles_below_resolution_are_kept_apart() -> None:
    report = report_of(
        [an_item("i1", "plastic_film", route="residual", count=7), an_item("i2")],
        batches=[a_batch("b1"), a_batch("b2", "plastic_film"), a_batch("b3", "plastic_film")],
        weighings=[a_weighing("w1"), too_light("w2", "b2"), too_light("w3", "b3")],
    )
    film = category(report, "plastic_film")
    assert (film.mass, film.share_weight, film.below_g) == (
        None,
        None,
        Decimal(20),
    )
    assert film.weighed == "below_resolution"
    assert film.unweighed_count == 0
    assert report.total.mass == exactly("1000", "10")
    assert report.total.below_g == 20
    assert [(b.category, b.label, b.count, b.below_g) for b in report.below_resolution] == [
        ("plastic_film", "pile b2", 0, Decimal(10)),
        ("plastic_film", "pile b3", 0, Decimal(10)),
    ]
    assert report.not_weighed == ()
    assert codes(report) == ["below_resolution"]
    assert "Together they weigh less than 20.0 g" in report.notes[0].text


def test_a_reading_beside_a_pile_too_light_is_partly_weighed() -> None:
    report = report_of(
        batches=[a_batch("b1"), a_batch("b2")],
        weighings=[a_weighing("w1", "b1"), too_light("w2", "b2")],
    )
    assert category(report, "pet_bottles").weighed == "partly"


def test_without_a_pile_objects_are_not_weighed() -> None:
    report = report_of([an_item("i1", count=3)])
    bottles = category(report, "pet_bottles")
    assert (bottles.weighed, bottles.unweighed_count, bottles.mass) == ("not_weighed", 3, None)
    (line,) = report.not_weighed
    assert (line.name, line.count, line.reason) == ("PET bottles and jars", 3, "in no pile")
    assert report.groups[0].mass is None
    assert report.groups[0].share_weight is None
    assert report.total.unweighed_count == 3


def test_own_mean_item_weight_estimates_an_unweighed_pile_and_stays_apart() -> None:
    report = report_of(
        [an_item("i1", batch_id="b1", count=20), an_item("i2", batch_id="b2", count=5)],
        batches=[a_batch("b1"), a_batch("b2")],
        weighings=[a_weighing("w1", "b1")],
        with_priors=True,
    )
    (estimate,) = report.estimates
    assert (estimate.method, estimate.count) == ("own_mean_item_weight", 5)
    assert (estimate.item_g, estimate.grams.value) == (Decimal(50), Decimal(250))
    assert (estimate.grams.low, estimate.grams.high) == (None, None)
    assert estimate.code is None
    assert estimate.basis == "mean item weight of this sort: 20 weighed objects, piles: 1"
    assert report.total.mass == exactly("1000", "10")
    assert report.total.estimated_g == 250
    assert category(report, "pet_bottles").weighed == "partly"
    assert report.not_weighed[0].reason == "in a pile that was not weighed"
    assert codes(report) == ["not_weighed"]
    assert report.notes[0].text == (
        "Not weighed: 5 objects. They are in no weight and in no share by weight."
    )


def test_a_published_prior_stands_in_where_nothing_was_weighed() -> None:
    report = report_of([an_item("i1", count=243)], with_priors=True)
    (estimate,) = report.estimates
    assert estimate.method == "prior_item_weight"
    assert estimate.code == "B"
    assert round(estimate.grams.value, 4) == Decimal("4535.9237")
    assert estimate.grams.low == estimate.grams.value
    assert estimate.grams.high is not None
    assert round(estimate.grams.high / 243, 2) == Decimal("20.07")
    assert "24.3 per lb, effective 1 July 2022, CalRecycle" in estimate.basis
    assert codes(report) == ["nothing_measured", "prior"]
    assert "Statewide averages" in report.notes[1].text


def test_a_single_prior_has_no_spread() -> None:
    report = report_of([an_item("i1", "aluminium_cans", count=2)], with_priors=True)
    (estimate,) = report.estimates
    assert (estimate.grams.low, estimate.grams.high) == (None, None)
    assert round(estimate.item_g, 2) == Decimal("15.27")


def test_without_a_basis_there_is_no_estimate() -> None:
    assert report_of([an_item("i1")]).estimates == ()
    assert report_of([an_item("i1", "food", route="organics")], with_priors=True).estimates == ()


def test_loose_objects_beside_an_unweighed_pile_can_not_be_placed() -> None:
    report = report_of(
        [an_item("i1", count=2), an_item("i2", batch_id="b2")],
        batches=[a_batch("b1"), a_batch("b2")],
        weighings=[a_weighing("w1", "b1")],
        with_priors=True,
    )
    bottles = category(report, "pet_bottles")
    assert (bottles.unweighed_count, bottles.unplaced_count) == (1, 2)
    assert [(line.count, line.reason[:10]) for line in report.not_weighed] == [
        (1, "in a pile "),
        (2, "in no name"),
    ]
    assert report.estimates[0].count == 1
    assert report.total.unweighed_count == 3


def test_loose_objects_are_taken_to_be_in_the_piles_where_all_were_weighed() -> None:
    report = report_of(
        [an_item("i1", count=2)],
        batches=[a_batch("b1"), a_batch("b2")],
        weighings=[a_weighing("w1", "b1"), a_weighing("w2", "b2")],
    )
    bottles = category(report, "pet_bottles")
    assert (bottles.unweighed_count, bottles.unplaced_count) == (0, 0)
    assert way(report.routes, "kerbside").measured == exactly("2000", "20")


def test_routes_split_a_mixed_pile_by_counts_and_kinds_do_not() -> None:
    report = report_of(
        [an_item("i1"), an_item("i2", route="deposit_return", count=3)],
        batches=[a_batch("b1")],
        weighings=[a_weighing("w1")],
    )
    kerbside = way(report.routes, "kerbside")
    assert (kerbside.measured, kerbside.split_g) == (ZERO_MASS, Decimal(250))
    assert kerbside.estimated_split
    assert (kerbside.count, kerbside.share_count, kerbside.kind) == (
        1,
        Decimal("0.25"),
        "recovered",
    )
    assert kerbside.name == "Kerbside recycling"
    assert [line.route for line in report.routes] == ["kerbside", "deposit_return"]
    recovered = way(report.kinds, "recovered")
    assert (recovered.measured, recovered.split_g) == (exactly("1000", "10"), Decimal(0))
    assert (recovered.items, recovered.count) == (2, 4)
    assert "split" not in codes(report)


def test_kinds_keep_recovered_special_discarded_and_undecided_apart() -> None:
    report = report_of(
        [
            an_item("i1", "textiles", route="reuse"),
            an_item("i2", "textiles", route="residual"),
            an_item("i3", "batteries", route="special_collection", count=2),
            an_item("i4", route=None),
            an_item("i5", route="old_route"),
        ],
        batches=[a_batch("b1", "textiles")],
        weighings=[a_weighing("w1")],
    )
    assert [(line.route, line.count) for line in report.kinds] == [
        ("recovered", 1),
        ("special", 2),
        ("discarded", 1),
        ("undecided", 2),
    ]
    assert [line.split_g for line in report.kinds] == [500, 0, 500, 0]
    assert [(line.route, line.name, line.kind) for line in report.routes[-2:]] == [
        ("undecided", "Not decided", "undecided"),
        ("old_route", "old_route", "undecided"),
    ]
    assert "split" in codes(report)
    assert kind_of("special_collection") == "special"


@pytest.mark.parametrize(
    ("category_id", "route"),
    [
        ("food", "organics"),
        ("pet_bottles", "undecided"),
        ("gone_category", "undecided"),
    ],
)
def test_a_pile_weighed_and_never_counted_goes_by_the_rules(category_id: str, route: str) -> None:
    report = report_of(batches=[a_batch("b1", category_id)], weighings=[a_weighing("w1")])
    (line,) = report.routes
    assert (line.route, line.measured, line.count) == (route, exactly("1000", "10"), 0)
    assert codes(report)[0] == "not_counted"


def test_a_category_no_longer_listed_is_shown_last_and_noted() -> None:
    report = report_of([an_item("i1", "gone"), an_item("i2", "batteries")])
    assert [line.category for line in report.categories] == ["batteries", "gone"]
    assert (report.categories[1].name, report.categories[1].group) == ("gone", "unlisted")
    assert report.groups[-1].name == "Not in this list of categories"
    assert codes(report) == ["nothing_measured", "unlisted"]


def test_suggestions_corrections_and_voids_are_told() -> None:
    report = report_of(
        [
            an_item("i1", suggested="pet_bottles"),
            an_item("i2", suggested="food", count=2),
            an_item("i3", suggested="food"),
            an_item("i4", "food", route="organics", suggested="plastic_film"),
            an_item("i5"),
            an_item("i6", "food", suggested="food", route="organics"),
        ],
        changes=[a_change("c1", "i5", count=4), a_change("c2", "i6", "void")],
        batches=[a_batch("b1")],
        weighings=[a_weighing("w1"), a_weighing("w2")],
        voids=[a_void("v1", "w2")],
    )
    found = report.corrections
    assert (found.suggested, found.agreed) == (4, 1)
    assert [(o.suggested, o.confirmed, o.items, o.count) for o in found.overruled] == [
        ("food", "pet_bottles", 2, 3),
        ("plastic_film", "food", 1, 1),
    ]
    assert found.overruled[1].suggested_name == "Film"
    assert found.overruled[1].confirmed_name == "Food"
    assert [(c.before.count, c.after.count) for c in found.corrected] == [(1, 4)]
    assert [item.id for item in found.voided_items] == ["i6"]
    assert [weighing.id for weighing in found.voided_weighings] == ["w2"]
    assert report.total.weighings == 1


def test_versions_seen_are_counted() -> None:
    report = report_of(
        [
            an_item("i1", model_version=None),
            an_item("i2", model_version="first-1"),
            an_item("i3", model_version="first-1", programme_version="2025-1"),
        ]
    )
    assert [(seen.version, seen.items) for seen in report.models] == [("first-1", 2), (None, 1)]
    assert [(seen.version, seen.items) for seen in report.programme_versions] == [
        ("2026-1", 2),
        ("2025-1", 1),
    ]
    assert "programme_versions" in codes(report)
    programme = report.programme
    assert (programme.name, programme.version) == ("Small Town", "2026-1")
    assert programme.statement.endswith("Follow your local authority where it differs.")
    assert report.categories_version == "list-1"


def test_notes_on_piles() -> None:
    report = report_of(
        [an_item("i1"), an_item("i2", minute=30)],
        batches=[a_batch("b1")],
        weighings=[
            a_weighing("w1", contents_left=True),
            a_weighing("w2", gross="2", minute=12),
        ],
        sort=a_sort(closed=False),
        programme=small_programme(valid_from=date(2026, 6, 1)),
    )
    assert codes(report) == ["open", "programme_dates", "spread", "contents_left", "counted_after"]
    assert "1 object recorded after the last weighing" in report.notes[4].text
    assert report.notes[4].text.endswith("Weigh them as a further bucketful.")
    assert report.notes[2].text.startswith(
        "PET bottles and jars, 'pile b1': its weighings differ by 750.0 g"
    )


def test_notes_name_a_pile_without_a_label_by_its_category_alone() -> None:
    report = report_of(
        [an_item("i1")],
        batches=[replace(a_batch("b1"), label="")],
        weighings=[a_weighing("w1", contents_left=True)],
    )
    (note,) = [note for note in report.notes if note.code == "contents_left"]
    assert note.text.startswith("PET bottles and jars: contents were left inside")


def test_a_pile_counted_wholly_after_its_weighing_needs_no_note() -> None:
    report = report_of(
        [an_item("i1", minute=30)], batches=[a_batch("b1")], weighings=[a_weighing("w1")]
    )
    assert codes(report) == []


def test_the_national_comparison_is_there_when_asked_for() -> None:
    ledger = fold(
        a_sort(),
        [an_item("i1", "textiles", route="reuse")],
        batches=[a_batch("b1")],
        weighings=[a_weighing("w1")],
    )
    report = build_report(ledger, small_categories(), small_programme(), national=load_national())
    assert report.national is not None
    shares = {
        line.material: None if line.ours is None else int(line.ours.value)
        for line in report.national.lines
    }
    assert (shares["plastics"], shares["glass"], shares["textiles"]) == (1, 0, None)
    assert report_of([an_item("i1")]).national is None


def test_what_has_something_left_in_it_is_counted_by_its_route_and_weighed_with_no_pile() -> None:
    report = report_of(
        [an_item("i1", count=3), an_item("i2", count=2, route="with_contents")],
        batches=[a_batch("b1")],
        weighings=[a_weighing("w1")],
    )
    bottles = category(report, "pet_bottles")
    assert (bottles.count, bottles.unweighed_count) == (5, 0)
    assert bottles.mean_item_g == Decimal(1000) / 3
    kerb, apart = way(report.routes, "kerbside"), way(report.routes, "with_contents")
    assert (kerb.count, kerb.measured, kerb.split_g) == (3, exactly("1000", "10"), 0)
    assert (apart.name, apart.count, apart.measured) == (
        *("Set apart with its contents", 2, ZERO_MASS),
    )
    assert kind_of("with_contents") == "special"
