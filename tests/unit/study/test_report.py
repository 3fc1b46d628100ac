"""The report of a study: every figure is that of its estimator, and bears what it rests on."""

from __future__ import annotations

import numpy as np
import pytest

from classifier.estimators.rates import recovery_rates
from classifier.estimators.sample_shares import per_person, shares_of_study
from classifier.estimators.strata import Amount, combine_strata, difference, scale_to_population
from classifier.log.records import SortInfo
from classifier.study.dictionary import BASES, MEASURES
from classifier.study.figures import WHOLE
from classifier.study.report import StudyReport
from classifier.study.words import summary, uncertainty
from tests.unit.study.study_cases import a_member, drawn, reported, table_of, totals

FOUR = ("flats / spring", "flats / autumn", "houses / spring", "houses / autumn")
STRATA = {
    "parts": ["area", "season"],
    "weights": {label: 1 + place for place, label in enumerate(FOUR)},
    "compare": "season",
    "population": {"total": 1000, "standard_error": 40, "unit": "t"},
    "what_if": ["plastic_film"],
    "national": "landfilled",
}


def values(report: StudyReport, measure: str, stratum: str = WHOLE) -> dict[str, float]:
    return {
        each.about.id: each.value
        for each in report.select(measure, level="category", stratum=stratum)
    }


def test_a_study_without_strata_is_one_sample() -> None:
    given = drawn(12)
    table, report = table_of(given), reported(given)
    for measure, estimator in (
        ("share_mean", "mean of sample shares"),
        ("share_ratio", "ratio of sums"),
    ):
        means = shares_of_study(table.grams, estimator=estimator)  # type: ignore[arg-type]
        for each, estimate in zip(
            report.select(measure, level="category"), means.intervals(), strict=True
        ):
            assert (each.value, each.low, each.high) == (
                estimate.value, estimate.low, estimate.high
            )  # fmt: skip
            assert (each.level, each.n, each.basis) == (0.90, 12, "estimated")
    weighed = report.select("net_weight", level="total")[0]
    assert weighed.value == pytest.approx(table.grams.sum() / 1000)
    assert (weighed.basis, weighed.kind) == ("measured", "scale")


def test_strata_go_by_their_weights_and_differences_by_welch() -> None:
    given = drawn(24, FOUR)
    table, report = table_of(given), reported(given, STRATA)
    rows = [np.arange(24) % 4 == k for k in range(4)]
    means = [shares_of_study(table.grams[each]) for each in rows]
    whole = combine_strata(means, [1, 2, 3, 4])
    assert list(values(report, "share_mean").values()) == pytest.approx(whole.value.tolist())
    scaled = scale_to_population(whole, Amount(1000, 40, "t")).intervals()
    total = report.select("population_total", level="category")[0]
    assert (total.value, total.low, total.unit) == (
        pytest.approx(scaled[0].value), pytest.approx(scaled[0].low), "t",
    )  # fmt: skip
    spring = combine_strata([means[0], means[2]], [1, 3])
    autumn = combine_strata([means[1], means[3]], [2, 4])
    gaps = values(report, "share_difference", "autumn minus spring")
    assert list(gaps.values()) == pytest.approx(difference(autumn, spring).value.tolist())
    p = report.select("p_adjusted", level="category", stratum="autumn minus spring")
    assert all(0 < each.value <= 1 for each in p)
    assert [line.weight for line in report.strata] == pytest.approx([0.2, 0.1, 0.4, 0.3])
    assert sum(line.sorts for line in report.strata) == 24


def test_shares_by_group_route_and_kind_add_to_one_and_share_categories() -> None:
    report = reported(drawn(12))
    for level in ("category", "group", "route", "kind"):
        assert sum(f.value for f in report.select("share_mean", level=level)) == pytest.approx(1)
    by_route = {f.about.id: f.value for f in report.select("share_mean", level="route")}
    assert by_route["organics"] == pytest.approx(values(report, "share_mean")["food"])


def test_kilograms_per_person_and_week_are_seven_days() -> None:
    given = drawn(9)
    table, report = table_of(given), reported(given)
    persons = [sort.persons for sort in table.sorts]
    weekly = per_person(table.grams, persons, [7] * 9).value / 1000
    assert list(values(report, "kg_per_person_week").values()) == pytest.approx(weekly.tolist())
    week, day = (
        report.select(f"kg_per_person_{each}", level="total")[0] for each in ("week", "day")
    )
    assert week.value == pytest.approx(7 * day.value)


def test_every_figure_has_a_known_measure_and_basis_and_none_mixes_them() -> None:
    report = reported(drawn(24, FOUR), STRATA)
    for each in report.figures:
        assert each.measure in MEASURES
        assert each.basis in BASES
        assert (each.kind == "confidence") == (each.level is not None)
        if each.basis in ("measured", "counted", "published"):
            assert each.kind in ("", "scale")
    published = [each for each in report.figures if each.basis == "published"]
    assert {each.measure for each in published} == {"share_of_landfilled"}
    assert all("code C" in each.source for each in published)


def test_generation_is_shown_without_disposal() -> None:
    report = reported(drawn(8), {"national": "generated"})
    assert not [each for each in report.figures if each.measure == "share_of_landfilled"]
    ours = report.select("share_mean", level="material")
    assert sum(each.value for each in ours) == pytest.approx(1)


def test_what_if_adds_what_the_programme_does_not_take() -> None:
    report = reported(drawn(12), {"what_if": ["plastic_film"]})
    now, then, change = (
        report.select(f"recovery_potential{each}")[0] for each in ("", "_what_if", "_change")
    )
    assert then.value - now.value == pytest.approx(change.value)
    assert change.value == pytest.approx(values(report, "share_mean")["plastic_film"])
    (recovered,) = [
        f for f in report.select("share_mean", level="kind") if f.about.id == "recovered"
    ]
    assert (now.value, now.low, now.high) == pytest.approx(
        (recovered.value, recovered.low, recovered.high)
    )


def test_two_containers_of_a_household_give_rates_and_one_sample() -> None:
    """The two carts of DOMAIN.md 5.5, twice (code OWN)."""
    sorts: list[SortInfo] = []
    grams: list[dict[str, float]] = []
    for number in range(2):
        for container, own in (
            ("recycling", {"paperboard": 51.0, "food": 9.0}),
            ("refuse", {"paperboard": 34.0, "food": 106.0}),
        ):
            sorts.append(a_member(2 * number + (container == "refuse"), container,
                                  place=f"House {number}", sorted_on=sorts[0].sorted_on
                                  if sorts else a_member(0).sorted_on))  # fmt: skip
            grams.append(own)
    sorts.append(a_member(9, "recycling", place="House 9"))
    grams.append({"paperboard": 5.0})
    plan = {"streams": {"part": "stratum"}, "strata": []}
    report = reported(totals(sorts, grams, routes={"food": "organics"}), plan)
    rates = recovery_rates([51, 51], [9, 9], [34, 34], [106, 106])
    for name in ("contamination", "capture", "gross_diversion", "net_diversion"):
        (figure,) = report.select(name)
        assert figure.value == pytest.approx(getattr(rates, name).value)
        assert figure.n == 2
    assert values(report, "share_mean")["paperboard"] == pytest.approx(85 / 200)
    assert any("1 sort is without a partner" in note for note in report.notes)


def test_containers_without_pairs_give_no_rates_and_say_so() -> None:
    report = reported(drawn(4, ("recycling",)), {"streams": {"part": "stratum"}})
    assert not report.select("capture")
    assert any("Fewer than two households" in note for note in report.notes)


def test_rates_of_nothing_are_refused_in_words() -> None:
    sorts = [a_member(k, each, place=f"H{k // 2}", sorted_on=a_member(0).sorted_on)
             for k, each in enumerate(("recycling", "refuse") * 2)]  # fmt: skip
    given = totals(sorts, [{"food": 5.0}] * 4, routes={"food": "organics"})
    report = reported(given, {"streams": {"part": "stratum"}, "strata": []})
    assert any(note.startswith("No rates: capture has nothing") for note in report.notes)


def test_rates_and_potential_go_by_the_weights_of_the_strata() -> None:
    """Flats are half of the sorts and a tenth of the weight; they put less where it belongs."""
    sorts: list[SortInfo] = []
    grams: list[dict[str, float]] = []
    for number in range(8):
        area = ("flats", "houses")[number % 2]
        for container, own in (
            ("recycling", {"paperboard": 20.0 + number, "food": 5.0}),
            ("refuse", {"paperboard": 60.0 if area == "flats" else 8.0, "food": 90.0 + number}),
        ):
            sorts.append(a_member(len(sorts), f"{area}/{container}", place=f"H{number}",
                                  sorted_on=a_member(0).sorted_on))  # fmt: skip
            grams.append(own)
    plan = {
        "parts": ["area", "container"], "strata": ["area"], "what_if": ["food"],
        "weights": {"flats": 1, "houses": 9},
        "streams": {"part": "container", "accepted_routes": ["kerbside"]},
    }  # fmt: skip
    given = totals(sorts, grams, routes={"food": "residual"})
    pooled, weighed = (
        reported(given, {**plan, "weights": weights}) for weights in ({}, plan["weights"])
    )
    for measure in ("capture", "recovery_potential"):
        (one,), (other,) = pooled.select(measure), weighed.select(measure)
        assert other.value != pytest.approx(one.value, rel=0.1)
        assert "2 strata" in other.method
        assert other.n == 8
    by_kind = {f.about.id: f.value for f in weighed.select("share_mean", level="kind")}
    assert weighed.select("recovery_potential")[0].value == pytest.approx(by_kind["recovered"])
    house = np.arange(8) % 2
    recycled = np.array([20.0 + k for k in range(8)])
    missed = np.where(house == 0, 60.0, 8.0)
    whole = recycled + missed + 95.0 + np.arange(8)
    parts = [(0.1, house == 0), (0.9, house == 1)]
    top = sum(w * recycled[own].sum() / whole[own].sum() for w, own in parts)
    bottom = sum(w * (recycled + missed)[own].sum() / whole[own].sum() for w, own in parts)
    assert weighed.select("capture")[0].value == pytest.approx(top / bottom)


def test_containers_filled_over_different_days_are_brought_to_the_same_days() -> None:
    sorts: list[SortInfo] = []
    grams: list[dict[str, float]] = []
    for number in range(3):
        for container, days, own in (
            ("recycling", 14, {"paperboard": 50.0 + number, "food": 10.0}),
            ("refuse", 7, {"paperboard": 20.0, "food": 90.0 + number}),
        ):
            sorts.append(a_member(len(sorts), container, place=f"H{number}", days=days,
                                  sorted_on=a_member(0).sorted_on))  # fmt: skip
            grams.append(own)
    given = totals(sorts, grams, routes={"food": "organics"})
    report = reported(given, {"streams": {"part": "stratum"}, "strata": []})
    assert report.select("capture")[0].value == pytest.approx(153 / (153 + 2 * 60))
    first = np.mean([(50 + k + 40) / (50 + k + 10 + 2 * (110 + k)) for k in range(3)])
    assert values(report, "share_mean")["paperboard"] == pytest.approx(first)
    persons = sum(sort.persons for sort in sorts[::2])
    week = report.select("kg_per_person_week", level="total")[0].value
    assert week == pytest.approx((153 + 30 + 2 * 333) / 1000 / persons / 2)
    assert any("different numbers of days: 3." in note for note in report.cautions)
    weighed = report.select("net_weight", level="total")[0]  # measured stays as it was read
    assert weighed.value == pytest.approx((153 + 30 + 333) / 1000)
    assert report.persons == persons


def test_a_second_sort_of_a_container_is_told_apart_from_one_without_a_partner() -> None:
    names = ("recycling", "refuse", "recycling", "recycling", "refuse", "recycling")
    places = ("H0", "H0", "H0", "H1", "H1", "H2")
    sorts = [a_member(k, name, place=place, sorted_on=a_member(0).sorted_on)
             for k, (name, place) in enumerate(zip(names, places, strict=True))]  # fmt: skip
    report = reported(
        totals(sorts, [{"food": 9.0 + k, "paperboard": 5.0} for k in range(6)]),
        {"streams": {"part": "stratum"}, "strata": []},
    )
    assert any("1 sort is of a container that its household already" in n for n in report.cautions)
    assert any("1 sort is without a partner" in note for note in report.cautions)


def test_measured_figures_are_of_all_sorts_though_estimates_leave_some_out() -> None:
    sorts = [a_member(k) for k in range(4)]
    grams = [{"food": 90.0, "paperboard": 10.0}] * 2 + [
        {"food": 50.0, "textiles": 0.0}, {"food": 0.0}
    ]  # fmt: skip
    report = reported(totals(sorts, grams), {"unweighed": "leave_out"})
    weighed, counted = (
        report.select(measure, level="total")[0] for measure in ("net_weight", "objects")
    )
    assert (weighed.value, counted.value) == (pytest.approx(0.25), 7)
    assert (weighed.n, counted.n) == (4, 4)
    assert (report.kg, report.objects) == (pytest.approx(0.25), 7)


def test_what_nobody_weighed_has_no_weight_and_is_counted() -> None:
    grams = [{"food": 90.0, "textiles": 0.0}] * 2 + [{"food": 50.0, "wood": 9.0}]
    report = reported(totals([a_member(k) for k in range(3)], grams))
    weighed, missing = (
        {f.about.id: f.value for f in report.select(measure, level="category")}
        for measure in ("net_weight", "sorts_not_weighed")
    )
    assert weighed == pytest.approx({"food": 0.23, "wood": 0.009})
    assert missing == {"textiles": 2}
    bounds = {f.about.id for f in report.select("share_mean_scale_bounds", level="category")}
    assert bounds == {"food", "wood"}


def test_the_bounds_of_the_scales_enclose_the_weighed_mean() -> None:
    given = drawn(12, ("a", "b"))
    table = table_of(given)
    report = reported(given, {"weights": {"a": 1, "b": 3}})
    means = {f.about.id: f.value for f in report.select("share_mean", level="category")}
    for each in report.select("share_mean_scale_bounds", level="category"):
        assert each.value == pytest.approx(means[each.about.id])
        assert each.low is not None
        assert each.high is not None
        assert each.low <= each.value <= each.high
    shares = table.low[:, 0] / (table.low[:, 0] + table.high.sum(axis=1) - table.high[:, 0])
    expected = 0.25 * shares[::2].mean() + 0.75 * shares[1::2].mean()
    bounds = report.select("share_mean_scale_bounds", level="category")[0]
    assert bounds.low == pytest.approx(expected)


def test_coverage_is_quoted_for_the_sorts_behind_the_whole_not_behind_a_stratum() -> None:
    report = reported(drawn(60, FOUR), STRATA)
    rows = {row.measure: row.n for row in report.coverage}
    assert rows["share_ratio"] == 50
    assert rows["kg_per_person_week"] == 50
    assert rows["share_strata"] == 50


def test_what_nothing_varies_in_has_no_range() -> None:
    sorts = [a_member(k) for k in range(5)]
    report = reported(totals(sorts, [{"food": 300.0, "textiles": 100.0}] * 5))
    for each in report.figures:
        assert each.kind != "confidence" or (each.low or 0) < (each.high or 0)
    (share,) = [f for f in report.select("share_mean", level="category") if f.about.id == "food"]
    assert (share.value, share.low, share.high, share.level) == (0.75, None, None, None)
    assert "no range can be given" in uncertainty(report)


def test_a_weighted_difference_is_tested_within_strata_or_not_at_all() -> None:
    labels = ["flats/spring"] * 6 + ["flats/autumn"] * 2 + ["houses/spring"] * 2 + [
        "houses/autumn"
    ] * 6  # fmt: skip
    sorts = [a_member(k, label) for k, label in enumerate(labels)]
    grams = [
        {"food": (90.0 if label.startswith("flats") else 20.0) + 7 * (k % 3), "wood": 40.0}
        for k, label in enumerate(labels)
    ]
    plan = {
        "parts": ["area", "season"], "strata": ["area", "season"], "compare": "season",
        "weights": dict.fromkeys(labels, 1),
    }  # fmt: skip
    report = reported(totals(sorts, grams), plan)
    label = "autumn minus spring"
    food = {
        measure: report.select(measure, level="category", stratum=label)[0]
        for measure in ("share_difference", "p_permutation")
    }
    assert "within strata" in food["p_permutation"].method
    assert food["p_permutation"].value > 0.3
    assert food["p_permutation"].n == food["share_difference"].n == 16
    by_area = reported(totals(sorts, grams), {**plan, "strata": ["area"],
                                              "weights": {"flats": 1, "houses": 1}})  # fmt: skip
    (again, _) = by_area.select("p_permutation", level="category", stratum=label)
    assert again.value == pytest.approx(food["p_permutation"].value)
    pooled = reported(totals(sorts, grams), {**plan, "weights": {}})
    assert pooled.select("p_permutation", level="category", stratum=label)[0].value < 0.15


def test_sides_with_different_strata_are_compared_within_what_both_have() -> None:
    labels = ["flats/spring"] * 3 + ["flats/autumn"] * 3 + ["houses/autumn"] * 3 + ["houses/spring"]
    sorts = [a_member(k, label) for k, label in enumerate(labels)]
    grams = [{"food": 20.0 + 9 * (k % 3) + 50 * (k > 5), "wood": 40.0} for k in range(10)]
    plan = {
        "parts": ["area", "season"], "strata": ["area", "season"], "compare": "season",
        "weights": dict.fromkeys(labels, 1),
    }  # fmt: skip
    report = reported(totals(sorts, grams), plan)
    label = "autumn minus spring"
    (food, _) = report.select("share_difference", level="category", stratum=label)
    assert food.value == pytest.approx(0)  # the flats alone, which are the same
    assert food.n == 6
    assert any(f"{label}: only within flats" in caution for caution in report.cautions)
    names = ["flats/spring"] * 3 + ["houses/autumn"] * 3
    apart = reported(
        totals([a_member(k, each) for k, each in enumerate(names)], grams[:6]),
        {**plan, "weights": dict.fromkeys(names, 1)},
    )
    assert not apart.select("share_difference", level="category", stratum=label)
    assert any(f"{label}: not compared" in caution for caution in apart.cautions)
    four = [*labels, "houses/spring"]
    nothing = reported(
        totals([a_member(k, each) for k, each in enumerate(four)], [*grams, grams[0]]),
        {**plan, "weights": {**dict.fromkeys(four, 1), "flats/spring": 0, "houses/spring": 0}},
    )
    assert any("gives the strata the weight 0" in caution for caution in nothing.cautions)


def test_a_value_with_one_sort_is_not_compared_and_said_so() -> None:
    sorts = [a_member(k, each) for k, each in enumerate("aabbc")]
    grams = [{"food": 50.0 + k, "wood": 40.0} for k in range(5)]
    report = reported(totals(sorts, grams), {"compare": "stratum", "divisions": 0})
    assert "One sort only, so not compared: c." in report.cautions
    assert {f.stratum for f in report.figures if f.measure == "share_difference"} == {"b minus a"}


def test_sides_follow_each_other_in_time() -> None:
    days = {"spring": 0, "autumn": 180}
    sorts = [
        a_member(k + days[season], season)
        for season in ("autumn", "spring") for k in range(3)
    ]  # fmt: skip
    grams = [{"food": 50.0 + k, "wood": 40.0} for k in range(6)]
    report = reported(totals(sorts, grams), {"compare": "stratum", "divisions": 0})
    labels = {f.stratum for f in report.figures if f.measure == "share_difference"}
    assert labels == {"autumn minus spring"}


@pytest.mark.parametrize(
    ("strata", "plan", "said"),
    [
        ("aabbbc", {"weights": {"a": 1, "b": 1, "c": 8}}, "speak for 20 % of the whole only"),
        ("aabbbb", {"weights": {"a": 1, "b": 1, "d": 2}}, "speak for 50 % of the whole only"),
        ("aaaaab", {"weights": {"a": 1, "b": 9}}, "Fewer than two groups (strata) have two sorts"),
        ("aaabbb", {"weights": {"a": 0, "b": 0}}, "gives every group the weight 0"),
        ("aaabbb", {"weights": {"a": 1, "b": 2}}, "how many persons live in each group (stratum)"),
    ],
)
def test_what_the_whole_speaks_for_is_told_to_every_reader(
    strata: str, plan: dict[str, object], said: str
) -> None:
    sorts = [a_member(k, each) for k, each in enumerate(strata)]
    report = reported(totals(sorts, [{"food": 50.0 + k, "wood": 40.0} for k in range(6)]), plan)
    assert any(said in caution for caution in report.cautions)


def test_containers_that_the_plan_does_not_join_are_told() -> None:
    """Else a household of four with two containers counts as eight persons, and a light container
    as much as a heavy one."""
    day = a_member(0).sorted_on
    sorts = [
        a_member(k, ("recycling", "refuse")[k % 2], place=f"House {k // 2}", sorted_on=day)
        for k in range(6)
    ]
    grams = [{"wood": 100.0 + k} if k % 2 == 0 else {"food": 900.0 + k} for k in range(6)]
    apart = reported(totals(sorts, grams))
    joined = reported(totals(sorts, grams), {"streams": {"part": "stratum"}, "strata": []})
    week = [r.select("kg_per_person_week", level="total")[0].value for r in (apart, joined)]
    assert week[1] == pytest.approx(2 * week[0])
    food = [values(r, "share_mean")["food"] for r in (apart, joined)]
    assert food == pytest.approx([0.5, 0.9], abs=0.005)
    for words in ("of the same days", "each container counts alike", "per person come out too low"):
        assert [any(words in each for each in r.cautions) for r in (apart, joined)] == [True, False]
    weeks = [a_member(7 * k, place=f"House {k % 2}", days=7) for k in range(6)]
    assert not any("of the same days" in each for each in reported(totals(weeks, grams)).cautions)


def test_parts_of_strata_that_the_plan_does_not_name_are_told() -> None:
    given = drawn(6, ("flats / spring", "flats / spring / refuse"))
    said = "3 of 6 sorts have more, such as 'flats / spring / refuse'"
    for parts, stated in (
        (["area", "season"], True),
        (["area", "season", "container"], False),
        (["stratum"], False),
        ([], False),
    ):
        cautions = reported(given, {"parts": parts}).cautions
        assert any(said in each for each in cautions) is stated
    ended = drawn(6, ("flats / spring /",))
    assert not any(
        "sorts have more" in each
        for each in reported(ended, {"parts": ["area", "season"]}).cautions
    )


def test_programmes_and_places_that_do_not_fit_one_study_are_told() -> None:
    sorts = [
        a_member(k, place=f"House {k // 2}", programme_id=("alder_valley", "port_sable")[k % 2])
        for k in range(4)
    ]
    report = reported(totals(sorts, [{"food": 50.0 + k, "wood": 40.0} for k in range(4)]))
    assert any("under 2 programmes" in caution for caution in report.cautions)
    assert any("Places with more than one sort: 2." in note for note in report.notes)
    yard = [a_member(k, place="The yard") for k in range(4)]
    one = reported(totals(yard, [{"food": 50.0 + k, "wood": 40.0} for k in range(4)]))
    assert not any("Places with more than one sort" in note for note in one.notes)


@pytest.mark.parametrize(("lots", "warned"), [(2, True), (4, True), (5, False)])
def test_ranges_of_fewer_lots_than_they_were_tried_with_are_told_first(
    lots: int, *, warned: bool
) -> None:
    report = reported(drawn(lots))
    said = f"Only {lots} sorts are behind the estimates"
    assert any(each.startswith(said) for each in report.cautions[:1]) is warned
    assert any(said in each for each in report.cautions) is warned
    assert (said in summary(report)) is warned


def test_one_sort_with_most_of_the_weight_is_told() -> None:
    grams = [{"food": 50.0 + k, "wood": 40.0} for k in range(4)]
    grams[2] = {"food": 50.0, "wood": 9e7}
    report = reported(totals([a_member(k) for k in range(4)], grams))
    assert any("One sort holds 100 % of all the weight" in each for each in report.cautions)
    assert not any("One sort holds" in each for each in reported(drawn(8)).cautions)


def test_a_category_of_which_all_was_undone_is_in_no_table() -> None:
    given = totals([a_member(k) for k in range(3)], [{"food": 50.0 + k} for k in range(3)])
    nothing = (None, None, None, None)
    given.piles.add([("s0", "steel_cans", "s0/steel_cans", False, *nothing, False)])
    assert table_of(given).categories == ("food",)
    given.piles.add([("s0", "textiles", "s0/textiles", True, *nothing, False)])
    assert table_of(given).categories == ("food", "textiles")  # weighed once, and taken back


@pytest.mark.parametrize("n", [0, 1])
def test_fewer_than_two_sorts_estimate_nothing(n: int) -> None:
    report = reported(drawn(n))
    assert {each.basis for each in report.figures} == ({"measured", "counted"} if n else set())
    assert sum(f.value for f in report.select("net_weight", level="total")) == pytest.approx(
        table_of(drawn(n)).grams.sum() / 1000
    )
    assert any("Fewer than two sorts" in note for note in report.notes)
    assert "Too few lots" in uncertainty(report)
    assert summary(report)


def test_what_was_not_weighed_is_told_kept_or_left_out() -> None:
    sorts = [a_member(k) for k in range(4)]
    grams = [{"food": 90.0, "paperboard": 10.0}] * 3 + [{"food": 50.0, "textiles": 0.0}]
    given = totals(sorts, grams)
    kept, left = reported(given), reported(given, {"unweighed": "leave_out"})
    assert any("too low" in note and "(in 1 sort)" in note for note in kept.notes)
    assert values(kept, "share_mean")["food"] == pytest.approx((3 * 0.9 + 1) / 4)
    assert values(left, "share_mean")["food"] == pytest.approx(0.9)
    assert not any("too low" in note for note in left.notes)  # they are in no share
    assert any("Left out of the estimates, as the plan says" in note for note in left.notes)


def test_sorts_without_a_weight_are_in_no_estimate() -> None:
    sorts = [a_member(k, closed=k > 0) for k in range(3)]
    report = reported(totals(sorts, [{"food": 5.0}, {"food": 7.0}, {"food": 0.0}]))
    assert report.select("share_mean", level="category")[0].n == 2
    assert any("no estimate: 1 of 3 sorts" in note for note in report.notes)
    assert any("1 sort is still open" in note for note in report.notes)


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        ({}, "gives no weight for"),
        ({"weights": {"gone": 1}}, "strata that no sort is in: gone"),
        ({"compare": "place"}, "Nothing to compare by place"),
    ],
)
def test_what_a_plan_lacks_is_said(plan: dict[str, object], said: str) -> None:
    report = reported(drawn(8, ("a", "b")), plan)
    assert any(said in note for note in report.notes)


def test_a_stratum_of_one_sort_is_named_and_left_out() -> None:
    sorts = [a_member(k, "a") for k in range(3)] + [a_member(3, "b")]
    report = reported(totals(sorts, [{"food": 5.0, "wood": 4.0}] * 4))
    assert any("One sort only" in note and ": b." in note for note in report.notes)
    assert [line.label for line in report.strata] == ["a"]


def test_the_same_places_on_both_sides_are_told() -> None:
    sorts = [a_member(k, "a" if k < 3 else "b", place=f"House {k % 3}") for k in range(6)]
    grams = [{"food": 50.0 + k, "wood": 40.0} for k in range(6)]
    report = reported(totals(sorts, grams), {"compare": "stratum"})
    assert any("Places in both a and b: 3." in note for note in report.notes)


def test_many_dates_are_compared_each_with_the_next() -> None:
    sorts = [a_member(k, "abcdef"[k // 2]) for k in range(12)]
    grams = [{"food": 50.0 + k, "wood": 40.0 - k} for k in range(12)]
    report = reported(totals(sorts, grams), {"compare": "stratum", "divisions": 0})
    labels = {f.stratum for f in report.figures if f.measure == "share_difference"}
    assert labels == {f"{b} minus {a}" for a, b in zip("abcde", "bcdef", strict=True)}
    assert not [f for f in report.figures if f.measure.startswith("p_")]


def test_weights_of_persons_make_the_figures_per_person() -> None:
    given = drawn(12, ("a", "b"))
    table = table_of(given)
    plan = {"person_weights": {"a": 3, "b": 1}, "weights": {"a": 1, "b": 1}}
    report = reported(given, plan)
    parts = [
        per_person(
            table.grams[k::2], [s.persons for s in table.sorts[k::2]], [7] * 6
        )
        for k in range(2)
    ]  # fmt: skip
    expected = combine_strata(parts, [3, 1]).value / 1000
    assert list(values(report, "kg_per_person_week").values()) == pytest.approx(expected.tolist())


def test_the_summary_names_estimator_level_and_shortfalls() -> None:
    text = summary(reported(drawn(24, FOUR), STRATA))
    for words in (
        "mean of sample shares",
        "90 % Student t",
        "LIKELY BETWEEN",
        "autumn minus spring",
        "in simulated studies",
    ):
        assert words in text


def test_uncertainty_is_told_with_the_name_as_listed_and_the_level_as_given() -> None:
    sorts = [a_member(k) for k in range(6)]
    given = totals(sorts, [{"pet_bottles": 50.0 + k, "food": 10.0 + 3 * k} for k in range(6)])
    said = uncertainty(reported(given, {"level": 0.999}))
    assert "PET bottles" in said
    assert "about 99.9 in 100 such ranges" in said


def test_progress_is_told_and_reaches_its_end() -> None:
    from classifier.study.plan import plan_from
    from classifier.study.report import build_study_report
    from tests.unit.study.study_cases import CATEGORIES, PROGRAMMES

    stated: list[tuple[str, int, int]] = []
    plan = plan_from({"draws": 300, "compare": "stratum", "divisions": 300}, CATEGORIES)
    build_study_report(
        "x", table_of(drawn(12, ("a", "b"))), plan, CATEGORIES, PROGRAMMES,
        progress=lambda what, done, total: stated.append((what, done, total)),
    )  # fmt: skip
    ends = {what for what, done, total in stated if done == total}
    assert {"bootstrap, category", "permutations, group"} <= ends


def test_notes_on_all_sorts_together() -> None:
    sorts = (a_member(1, closed=False), a_member(2, place=""), a_member(3, place=""))
    given = totals(sorts, [{"food": 100.0}] * 3)
    given.piles.add([("s1", "wood", "b", True, None, None, None, 5.0, True)])
    notes = " ".join(reported(given).notes)
    assert "1 sort is still open: these figures may change." in notes
    assert "1 times a category was too light for the scale" in notes
    assert "Piles weighed with contents left in: 1." in notes


def test_words_mark_what_was_split_among_routes() -> None:
    given = totals([a_member(1), a_member(2)], [{"food": 100.0, "wood": 50.0}] * 2)
    given.items.add([("s1", "food", "residual", 1, 1)])
    text = summary(reported(given, {"draws": 0}))
    assert "* part of the weight was split among routes by counts" in text
    assert any(line.endswith(" *") for line in text.splitlines())


def test_without_draws_there_is_no_bootstrap() -> None:
    report = reported(drawn(6), {"draws": 0})
    assert report.select("share_mean", level="category")
    assert not report.select("share_mean_bootstrap")


def test_a_sort_of_neither_container_is_left_out_of_the_rates() -> None:
    kinds = ("recycling", "refuse", "bulky", "recycling", "refuse")
    places = ("A", "A", "A", "B", "B")
    sorts = [
        a_member(n, kind, place=place)
        for n, (kind, place) in enumerate(zip(kinds, places, strict=True))
    ]
    plan = {"streams": {"part": "stratum", "pair": ["place"]}}
    report = reported(totals(sorts, [{"steel_cans": 100.0, "food": 50.0}] * 5), plan)
    assert report.select("capture")[0].n == 2
    assert any("1 sort is without a partner" in note for note in report.cautions)
