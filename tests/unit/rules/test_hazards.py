"""What is asked before a stop, and what an answer about a hazard may do (tests/small_lists.py)."""

from __future__ import annotations

from pathlib import Path

import pytest

from classifier.rules.hazards import weigh_hazards
from classifier.rules.suggestion import suggest, suggestion_for_category
from classifier.rules.suggestion_parts import Ranked, Suggestion, Thresholds
from tests.small_lists import CATEGORIES, HEAD, RULES, small_categories, small_programme

LIMITS = Thresholds(route=0.8, stop=0.2, unsure=0.4, non_item=0.5)
LISTS = (
    CATEGORIES.replace(
        '[[category]]\nid = "steel"',
        '[[fact]]\nid = "bare"\nname = "Bare cell"\nquestion = "Is it a cell?"\nhow = "Look."\n'
        'answer = [{ id = "yes", label = "Yes" }, { id = "no", label = "No" }]\n'
        '[[category]]\nid = "steel"',
    ).replace("stop = true\n", 'stop = true\nasked = "bare"\n')
    + '[[category]]\nid = "acid"\ngroup = "things"\nname = "Acid"\nbelongs = ["Drain cleaner"]\n'
    'cautions = ["fire"]\nstop = true\n'
)
ACID = '[[rule]]\ncategory = "acid"\nroute = "special_collection"\n'
IDS = ("steel", "alu", "tub", "film", "cell", "acid")


class Bench:
    """The small lists with a question about cells; nobody can ask about acid."""

    def __init__(self, directory: Path) -> None:
        self.categories = small_categories(directory, LISTS)
        self.programme = small_programme(directory, self.categories, HEAD + RULES + ACID)

    def photo(
        self,
        facts: dict[str, str] | None = None,
        learned: dict[str, float] | None = None,
        shares: dict[str, float] | None = None,
        **p: float,
    ) -> Suggestion:
        return suggest(
            [Ranked(form, value) for form, value in (shares or p).items()],
            {each: {each: 1.0} for each in IDS},
            self.categories,
            self.programme,
            LIMITS,
            facts=facts,
            learned=learned,
        )


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def decided(found: Suggestion) -> tuple[str, str | None]:
    return found.decision, found.question.fact if found.question else None


def test_where_a_harmless_category_leads_the_hazard_is_asked_about(bench: Bench) -> None:
    found = bench.photo(steel=0.5, cell=0.3, film=0.2)
    assert decided(found) == ("ask", "bare")
    assert [caution.id for caution in found.cautions] == ["fire"]  # warned of meanwhile
    assert found.alternatives[0].category == "steel"


def test_a_hazard_that_outweighs_what_leads_stops(bench: Bench) -> None:
    assert decided(bench.photo(steel=0.3, cell=0.3, film=0.2, tub=0.2)) == ("stop", None)
    assert decided(bench.photo(steel=0.5, cell=0.5)) == ("stop", None)
    assert decided(bench.photo(steel=0.25, cell=0.24, acid=0.1, film=0.41)) == ("ask", "bare")
    assert decided(bench.photo(steel=0.2, cell=0.24, acid=0.18, film=0.38)) == ("stop", None)


def test_a_hazard_that_nobody_can_ask_about_stops_by_itself(bench: Bench) -> None:
    assert decided(bench.photo(steel=0.7, acid=0.3)) == ("stop", None)
    assert decided(bench.photo(steel=0.6, acid=0.1, cell=0.3)) == ("ask", "bare")
    assert decided(bench.photo(steel=0.5, acid=0.2, cell=0.3)) == ("stop", None)


def test_no_clears_the_hazard_and_the_rest_shares_what_it_held(bench: Bench) -> None:
    found = bench.photo({"bare": "no"}, steel=0.6, cell=0.25, film=0.15)
    assert decided(found) == ("route", None)
    assert {each.id: round(each.p, 6) for each in found.categories} == {"steel": 0.8, "film": 0.2}
    assert "fire" not in {caution.id for caution in found.cautions}


def test_no_clears_nothing_where_a_hazard_leads(bench: Bench) -> None:
    assert decided(bench.photo({"bare": "no"}, cell=0.5, steel=0.3, film=0.2)) == ("stop", None)
    shares = {"steel": 0.005, "film": 0.004, "cell": 0.991}
    assert weigh_hazards(shares, bench.categories, {"bare": "no"}) == shares
    assert weigh_hazards({}, bench.categories, {"bare": "no"}) == {}
    split = {"steel": 0.01, "cell": 0.008, "acid": 0.0}
    assert set(weigh_hazards(split, bench.categories, {"bare": "no"})) == {"steel", "acid"}


def test_yes_is_believed_over_the_photo(bench: Bench) -> None:
    for photo in ({"steel": 0.5, "cell": 0.3, "film": 0.2}, {"steel": 1.0}, {"non_item": 1.0}):
        found = bench.photo({"bare": "yes"}, shares=photo)
        assert decided(found) == ("stop", None)
        assert found.alternatives[0].category == "cell"
        assert found.route is not None
        assert found.route.p == 1.0


def test_not_sure_stops(bench: Bench) -> None:
    found = bench.photo({"bare": "not_sure"}, steel=0.5, cell=0.3, film=0.2)
    assert decided(found) == ("stop", None)


def test_an_answer_that_the_photo_contradicts_stops(bench: Bench) -> None:
    """Nothing that may be magnetic is left but the hazard: nobody asks on, the hazard is there."""
    found = bench.photo({"magnetic": "yes"}, film=0.7, cell=0.3)
    assert found.decision == "stop"


def test_learning_does_not_skip_the_question(bench: Bench) -> None:
    photo = {"steel": 0.5, "cell": 0.3, "film": 0.2}
    assert decided(bench.photo(learned={"film": 1.0}, shares=photo)) == ("ask", "bare")
    assert decided(bench.photo({"bare": "no"}, {"film": 1.0}, shares=photo)) == ("route", None)
    assert decided(bench.photo({"bare": "no"}, {"acid": 1.0}, shares=photo)) == ("stop", None)


def test_who_chooses_another_pile_after_saying_yes_is_told(bench: Bench) -> None:
    found = suggestion_for_category(
        "steel", bench.categories, bench.programme, facts={"bare": "yes"}
    )
    assert found.check[0].startswith('"Bare cell: Yes" is unusual for Steel cans')
    cell = suggestion_for_category("cell", bench.categories, bench.programme, facts={"bare": "yes"})
    assert (cell.decision, cell.check) == ("stop", ())
