"""Counts corrected by audits: the estimator's own numbers, and refusals in words."""

from __future__ import annotations

import pytest

from classifier.estimators.corrections import post_stratified_counts
from classifier.study.audits import corrected_counts
from classifier.study.plan import plan_from
from classifier.study.totals import CalledPhotos
from tests.unit.study.study_cases import CATEGORIES, drawn, reported

PLAN = plan_from({}, CATEGORIES)
PHOTOS = (
    CalledPhotos("drink_can", "aluminium_cans", 400, {"aluminium_cans": 34, "steel_cans": 6}),
    CalledPhotos("food_can", "steel_cans", 600, {"aluminium_cans": 6, "steel_cans": 54}),
)


def test_own_double_sampling_400_of_1000_called_so() -> None:
    """OWN case of DOMAIN.md 7.4: 0.400 of 1,000."""
    result = corrected_counts(PHOTOS, CATEGORIES, PLAN)
    counts = {
        each.about.id: each
        for each in result.figures
        if each.measure == "photographed_items_corrected"
    }
    theirs = post_stratified_counts(
        [[34, 6], [6, 54]], [400, 600], categories=["a", "b"], strata=["x", "y"], blind=True,
        level=0.90,
    ).counts  # fmt: skip
    aluminium = counts["aluminium_cans"]
    assert aluminium.value == pytest.approx(400)
    assert (aluminium.low, aluminium.high) == pytest.approx((theirs[0].low, theirs[0].high))
    assert (aluminium.basis, aluminium.n, aluminium.unit) == ("estimated", 100, "items")
    called = [f.value for f in result.figures if f.measure == "photographed_items_as_called"]
    assert called == [400, 600]
    assert any("post-stratified" in note and "100 of 1000" in note for note in result.notes)


def test_no_audit_no_correction_and_no_words() -> None:
    untouched = [CalledPhotos("drink_can", "aluminium_cans", 400, {})]
    assert corrected_counts(untouched, CATEGORIES, PLAN).notes == ()
    assert corrected_counts((), CATEGORIES, PLAN).figures == ()


@pytest.mark.parametrize(
    ("blind", "said"),
    [
        ({"aluminium_cans": 1}, "too few to correct"),
        ({"aluminium_cans": 9}, "nothing to correct by"),
    ],
)
def test_what_does_not_bear_a_correction_is_refused(blind: dict[str, int], said: str) -> None:
    photos = [CalledPhotos("drink_can", "aluminium_cans", 40, blind)]
    result = corrected_counts(photos, CATEGORIES, PLAN)
    assert result.figures == ()
    assert said in result.notes[0]


def test_sparse_strata_are_joined_and_few_audits_are_told() -> None:
    photos = (*PHOTOS, CalledPhotos("gone", "", 3, {"an_old_category": 1}))
    result = corrected_counts(photos, CATEGORIES, PLAN)
    names = {f.about.id for f in result.figures if f.measure == "photographed_share_corrected"}
    assert "an_old_category" in names
    shares = [f.value for f in result.figures if f.measure == "photographed_share_corrected"]
    assert sum(shares) == pytest.approx(1)


def test_predictions_that_few_audits_met_are_named_for_people() -> None:
    few = CalledPhotos("food_can", "steel_cans", 600, {"steel_cans": 3})
    old = CalledPhotos("old_form", "", 90, {"steel_cans": 2})
    notes = corrected_counts((PHOTOS[0], few, old), CATEGORIES, PLAN).notes
    said = next(note for note in notes if note.startswith("Fewer than 5 verified"))
    assert said.endswith("rough guide: Steel cans (called food_can), old_form.")


def test_audits_wanted_for_a_precision_are_worked_out() -> None:
    result = corrected_counts(PHOTOS, CATEGORIES, plan_from({"audit_points": 2}, CATEGORIES))
    assert any("within ± 2 points" in note and "decides" in note for note in result.notes)


def test_corrected_counts_stand_in_the_report_apart_from_weights() -> None:
    given = drawn(6)
    given = type(given)(given.sorts, given.items, given.named, given.piles, PHOTOS)
    report = reported(given)
    assert report.select("photographed_items_corrected")[0].unit == "items"
    assert {f.measure for f in report.figures if f.unit == "items"} == {
        "photographed_items_corrected"
    }
