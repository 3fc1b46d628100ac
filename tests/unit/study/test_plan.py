"""The plan of a study: what is allowed, and what is said where it isn't."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from classifier.errors import InvalidEntryError
from classifier.rules.categories import load_categories
from classifier.study.plan import StudyPlan, load_plan, part_of, plan_from, plan_from_text
from service.cli.demo_study import PLAN

CATEGORIES = load_categories()


def test_nothing_given_is_the_trade_s_default() -> None:
    assert plan_from({}, CATEGORIES) == StudyPlan()
    assert StudyPlan().level == 0.90


def test_the_plan_of_the_invented_study_says_everything_there_is() -> None:
    plan = plan_from_text(PLAN, CATEGORIES)
    assert plan.strata == ("area", "season")
    assert plan.weights["flats / spring"] == 2100
    assert plan.population is not None
    assert (plan.population.total, plan.population.unit) == (12600, "t a year")
    assert plan.streams is not None
    assert plan.streams.pair == ("place", "season")
    assert plan.what_if == ("plastic_film", "coated_paper")


def test_joined_containers_are_no_stratum_unless_the_plan_says_so() -> None:
    parts = {"parts": ["area", "container"], "streams": {"part": "container"}}
    assert plan_from(parts, CATEGORIES).strata == ("area",)
    assert plan_from({**parts, "strata": ["container"]}, CATEGORIES).strata == ("container",)
    assert plan_from({"streams": {"part": "stratum"}}, CATEGORIES).strata == ()


def test_a_single_text_is_a_list_of_one() -> None:
    assert plan_from({"parts": "area"}, CATEGORIES).parts == ("area",)


def test_mistakes_of_a_plan_file_are_named_by_line_all_at_once() -> None:
    with pytest.raises(InvalidEntryError) as error:
        plan_from_text('level = 90\n\n[population]\ntotal = "much"\n', CATEGORIES, name="p.toml")
    assert error.value.message.splitlines() == [
        'p.toml, line 1: "level" is 90. Allowed: a number from 0.5 to 0.999.',
        'p.toml, line 4: "total" is "much". Allowed: a number above 0.',
    ]


def test_json_says_the_same_as_toml(tmp_path: Path) -> None:
    (tmp_path / "p.json").write_text('{"level": 0.95, "compare": "month"}', encoding="utf-8")
    (tmp_path / "p.toml").write_text('level = 0.95\ncompare = "month"\n', encoding="utf-8")
    plans = [load_plan(tmp_path / f"p.{kind}", CATEGORIES) for kind in ("json", "toml")]
    assert plans[0] == plans[1]
    assert (plans[0].level, plans[0].compare) == (0.95, "month")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ([], "keys with values"),
        ({"levle": 0.9}, "levle"),
        ({"level": 90}, "0.5 to 0.999"),
        ({"level": True}, "a number"),
        ({"estimator": "median"}, "ratio of sums"),
        ({"title": 3}, "a text"),
        ({"parts": 3}, "something else than texts"),
        ({"parts": ["area", " "]}, "something else than texts"),
        ({"strata": ["season"]}, "date, month, place, stratum, year"),
        ({"compare": "area"}, "Use one of: date, month, place, stratum, year"),
        ({"what_if": ["gold"]}, "plastic_film"),
        ({"weights": [1]}, '"weights" is not a table'),
        ({"weights": {"a": -1}}, 'weights: "a" is -1'),
        ({"population": {}}, "above 0"),
        ({"population": {"total": 0}}, "above 0"),
        ({"population": {"total": 1, "se": 2}}, "se"),
        ({"streams": {"accepted_routes": ["sea"]}}, "kerbside"),
        ({"national": "both"}, "generated"),
        ({"draws": 5}, "0 for none"),
    ],
)
def test_what_is_not_allowed_is_named_with_what_is(given: Any, said: str) -> None:
    with pytest.raises(InvalidEntryError, match=said):
        plan_from(given, CATEGORIES)


@pytest.mark.parametrize(("name", "text"), [("p.toml", "level ="), ("p.json", "{")])
def test_a_file_that_is_neither_is_refused_by_name(name: str, text: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(InvalidEntryError, match=name):
        load_plan(tmp_path / name, CATEGORIES)


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "p.toml").write_bytes(b"\xff\xfe\x00")
    for name in ("none.toml", "p.toml"):
        with pytest.raises(InvalidEntryError, match="can't be read"):
            load_plan(tmp_path / name, CATEGORIES)


@pytest.mark.parametrize(
    ("name", "parts", "found"),
    [
        ("season", ("area", "season"), "spring"),
        ("stratum", ("stratum",), "flats / spring"),
        ("fourth", ("area", "season", "third", "fourth"), "not given"),
        ("place", ("area",), "Mill Lane"),
        ("month", ("area",), "2026-04"),
        ("year", ("area",), "2026"),
        ("date", ("area",), "2026-04-13"),
    ],
)
def test_what_a_sort_has_under_a_part(name: str, parts: tuple[str, ...], found: str) -> None:
    found_part = part_of(
        name, parts, stratum="flats / spring", place="Mill Lane", sorted_on=date(2026, 4, 13)
    )
    assert found_part == found
