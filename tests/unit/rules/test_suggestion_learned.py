"""What learning in place may change in a suggestion, and what it may not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from classifier.errors import InvalidQuantityError, UnknownIdError
from classifier.rules.suggestion import suggest
from classifier.rules.suggestion_parts import Ranked, Suggestion, Thresholds
from tests.small_lists import CATEGORIES, HEAD, RULES, small_categories, small_programme

LIMITS = Thresholds(route=0.8, stop=0.2, unsure=0.4, non_item=0.5)
MAPS = {each: {each: 1.0} for each in ("steel", "alu", "tub", "film", "cell")}


class Bench:
    """The small lists, and a photo given as probabilities of the forms and of what was learned."""

    def __init__(self, directory: Path) -> None:
        self.categories = small_categories(directory, CATEGORIES)
        self.programme = small_programme(directory, self.categories, HEAD + RULES)

    def photo(
        self,
        forms: dict[str, float],
        learned: dict[str, float] | None,
        facts: dict[str, str] | None = None,
        limits: Thresholds = LIMITS,
    ) -> Suggestion:
        return suggest(
            [Ranked(form, p) for form, p in forms.items()],
            MAPS,
            self.categories,
            self.programme,
            limits,
            facts=facts,
            learned=learned,
        )


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def shares(suggestion: Suggestion) -> dict[str, float]:
    return {each.id: round(each.p, 6) for each in suggestion.categories}


def test_what_was_learned_takes_the_place_of_the_forms(bench: Bench) -> None:
    found = bench.photo({"film": 0.9, "tub": 0.1}, {"tub": 0.75, "film": 0.25})
    assert shares(found) == {"tub": 0.75, "film": 0.25}
    assert found.alternatives[0].category == "tub"
    assert [each.id for each in found.forms] == ["film", "tub"], "the shipped answer is kept"


def test_a_category_that_no_form_leads_to_can_be_suggested(bench: Bench) -> None:
    found = bench.photo({"film": 1.0}, {"alu": 0.9, "film": 0.1})
    assert found.alternatives[0].category == "alu"


def test_learning_does_not_say_whether_there_is_an_item(bench: Bench) -> None:
    found = bench.photo({"film": 0.4, "non_item": 0.6}, {"tub": 1.0})
    assert found.decision == "not_an_item"
    assert shares(found) == {"tub": 0.4}
    assert bench.photo({"non_item": 1.0}, {"tub": 1.0}).categories == ()


def test_an_answer_rules_out_learned_categories_too(bench: Bench) -> None:
    found = bench.photo({"steel": 0.5, "alu": 0.5}, {"steel": 0.9, "alu": 0.1}, {"magnetic": "no"})
    assert shares(found) == {"alu": 1.0}


def test_answers_that_fit_what_was_learned_do_not_contradict_the_photo(bench: Bench) -> None:
    assert "fit" in bench.photo({"steel": 1.0}, None, {"magnetic": "no"}).check[0]
    found = bench.photo({"steel": 1.0}, {"steel": 0.5, "alu": 0.5}, {"magnetic": "no"})
    assert shares(found) == {"alu": 1.0}
    assert not any("fit" in line for line in found.check)


def test_learning_takes_no_hazard_back(bench: Bench) -> None:
    forms = {"cell": 0.25, "film": 0.75}
    found = bench.photo(forms, {"film": 1.0})
    assert found.decision == "stop"
    assert shares(found) == {"film": 0.75, "cell": 0.25}
    assert found.cautions == bench.photo(forms, None).cautions


def test_a_hazard_that_led_still_stops_when_something_else_leads(bench: Bench) -> None:
    forms = {"cell": 0.18, "film": 0.12, "tub": 0.1, "non_item": 0.6}
    assert bench.photo({**forms, "non_item": 0.4}, None).decision == "stop"
    assert bench.photo({**forms, "non_item": 0.4}, {"film": 1.0}).decision == "stop"


def test_learning_may_see_a_hazard_that_the_forms_do_not(bench: Bench) -> None:
    found = bench.photo({"film": 1.0}, {"film": 0.7, "cell": 0.3})
    assert found.decision == "stop"
    assert shares(found) == {"film": 0.7, "cell": 0.3}


def test_a_caution_of_a_hazard_is_not_lost(bench: Bench) -> None:
    forms = {"cell": 0.1, "film": 0.35, "tub": 0.25, "alu": 0.3}
    before = bench.photo(forms, None)
    assert before.decision != "stop"
    assert before.cautions
    found = bench.photo(forms, {"steel": 1.0})
    assert found.decision == "route"
    assert set(before.cautions) <= set(found.cautions)


def test_hazards_seen_by_both_hold_no_more_than_the_item(bench: Bench) -> None:
    found = bench.photo({"cell": 1.0}, {"cell": 1.0})
    assert shares(found) == {"cell": 1.0}


@pytest.mark.parametrize("p", [-0.1, 1.1, float("nan")])
def test_a_learned_probability_out_of_range_is_refused(bench: Bench, p: float) -> None:
    with pytest.raises(InvalidQuantityError, match="tub"):
        bench.photo({"film": 1.0}, {"tub": p})


def test_nothing_learned_at_all_is_refused(bench: Bench) -> None:
    with pytest.raises(InvalidQuantityError, match="no learned category"):
        bench.photo({"film": 1.0}, {"tub": 0.0})


def test_an_unknown_learned_category_is_named(bench: Bench) -> None:
    with pytest.raises(UnknownIdError, match="moon"):
        bench.photo({"film": 1.0}, {"moon": 1.0})


def test_a_hazard_that_led_the_forms_still_stops_where_learning_puts_it_behind(
    bench: Bench,
) -> None:
    """It is below the threshold, and stopped only since nothing was likelier."""
    limits = replace(LIMITS, stop=0.4)
    forms = {"cell": 0.3, "steel": 0.25, "tub": 0.25, "film": 0.2}
    assert bench.photo(forms, None, limits=limits).decision == "stop"
    found = bench.photo(forms, {"tub": 0.9, "film": 0.1}, limits=limits)
    assert found.categories[0].id == "tub"
    assert (found.decision, found.alternatives[0].category) == ("stop", "cell")
    without = bench.photo({**forms, "cell": 0.2, "tub": 0.35}, {"tub": 1.0}, limits=limits)
    assert without.decision != "stop"
