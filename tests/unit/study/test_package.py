"""What a study says can be worked out again from nothing but its data package."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping

import numpy as np
import pytest

from classifier.log.records import SortInfo
from classifier.study.files import study_files
from tests.unit.study.study_cases import CATEGORIES, a_member, reported, totals

Keep = Callable[[str, str, str], bool]
"""Whether a mass counts: by container, category and route."""
PLAN = {
    "parts": ["area", "container"], "strata": ["area"], "weights": {"flats": 1, "houses": 4},
    "person_weights": {"flats": 3, "houses": 5}, "what_if": ["plastic_film"],
    "streams": {"part": "container"},
}  # fmt: skip
NAMES = ("food", "paperboard", "plastic_film", "pet_bottles")


def everything(*_: str) -> bool:
    return True


class Again:
    """The masses of each place out of the tables, and estimates by means of their own."""

    def __init__(self, files: Mapping[str, str]) -> None:
        self.files = files
        self.plan = json.loads(files["datapackage.json"])["plan"]
        sorts = {row["sort"]: row for row in self.rows("sorts")}
        self.area: dict[str, str] = {}
        self.days: dict[str, float] = {}
        self.persons: dict[str, float] = {}
        container = {}
        for row in sorts.values():
            place, (area, container[row["sort"]]) = row["place_number"], row["stratum"].split("/")
            self.area[place], self.persons[place] = area, float(row["persons"])
            if container[row["sort"]] == "recycling":
                self.days[place] = float(row["days"])
        self.masses: list[tuple[str, str, str, str, float]] = []
        for row in self.rows("routes"):
            sort = sorts[row["sort"]]
            place = sort["place_number"]
            # Both containers over the days of the recycling.
            grams = float(row["net_g"]) * self.days[place] / float(sort["days"])
            self.masses.append(
                (place, container[row["sort"]], row["category"], row["route"], grams)
            )

    def rows(self, name: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(self.files[f"{name}.csv"])))

    def said(self, measure: str, ident: str) -> float:
        (row,) = [
            row for row in self.rows("figures")
            if (row["measure"], row["id"], row["stratum"]) == (measure, ident, "whole study")
        ]  # fmt: skip
        return float(row["value"])

    def of(self, place: str, keep: Keep) -> float:
        return sum(grams for at, *rest, grams in self.masses if at == place and keep(*rest))

    def places(self, area: str) -> list[str]:
        return [place for place, where in self.area.items() if where == area]

    def ratio(self, top: Keep, bottom: Keep) -> float:
        """The combined ratio of sums of weighted strata."""
        sums = [0.0, 0.0]
        for area, weight in self.plan["weights"].items():
            whole = sum(self.of(place, everything) for place in self.places(area))
            for k, keep in enumerate((top, bottom)):
                sums[k] += weight * sum(self.of(at, keep) for at in self.places(area)) / whole
        return sums[0] / sums[1]

    def mean(self, keep: Keep) -> float:
        """The mean of shares of weighted strata."""
        found = 0.0
        for area, weight in self.plan["weights"].items():
            shares = [self.of(at, keep) / self.of(at, everything) for at in self.places(area)]
            found += weight * sum(shares) / len(shares)
        return float(found / sum(self.plan["weights"].values()))

    def kg_per_person_week(self) -> float:
        found = 0.0
        for area, persons in self.plan["person_weights"].items():
            weeks = sum(self.persons[at] * self.days[at] / 7 for at in self.places(area))
            grams = sum(self.of(at, everything) for at in self.places(area))
            found += persons * grams / weeks / 1000
        return float(found / sum(self.plan["person_weights"].values()))


@pytest.fixture(scope="module")
def again() -> Again:
    """Return twelve households, their recycling of two weeks and their refuse of one."""
    sorts: list[SortInfo] = []
    grams: list[dict[str, float]] = []
    generator = np.random.default_rng(5)
    for number in range(12):
        for container, days in (("recycling", 14), ("refuse", 7)):
            stratum = f"{('flats', 'houses')[number % 2]}/{container}"
            sorts.append(a_member(len(sorts), stratum, place=f"H{number}", days=days,
                                  persons=1 + number % 3,
                                  sorted_on=a_member(number).sorted_on))  # fmt: skip
            grams.append({name: float(generator.integers(5, 900)) for name in NAMES})
    routes = {"food": "organics", "plastic_film": "residual"}
    return Again(study_files(reported(totals(sorts, grams, routes=routes), PLAN), CATEGORIES))


def test_rates(again: Again) -> None:
    capture = again.ratio(
        lambda where, _, route: where == "recycling" and route == "kerbside",
        lambda _, __, route: route == "kerbside",
    )
    assert again.said("capture", "capture") == pytest.approx(capture)
    contamination = again.ratio(
        lambda where, _, route: where == "recycling" and route != "kerbside",
        lambda where, _, __: where == "recycling",
    )
    assert again.said("contamination", "contamination") == pytest.approx(contamination)
    gross = again.ratio(lambda where, _, __: where == "recycling", everything)
    assert again.said("gross_diversion", "gross_diversion") == pytest.approx(gross)


@pytest.mark.parametrize("name", NAMES)
def test_shares_by_both_estimators(again: Again, name: str) -> None:
    def own(_: str, category: str, __: str) -> bool:
        return category == name

    assert again.said("share_mean", name) == pytest.approx(again.mean(own))
    assert again.said("share_ratio", name) == pytest.approx(again.ratio(own, everything))


def test_recovery_potential_and_what_more_would_change(again: Again) -> None:
    recovered = {row["route"] for row in again.rows("routes") if row["kind"] == "recovered"}
    now = again.mean(lambda _, __, route: route in recovered)
    more = again.mean(lambda _, name, route: route in recovered or name in again.plan["what_if"])
    assert again.said("recovery_potential", "total") == pytest.approx(now)
    assert again.said("recovery_potential_change", "total") == pytest.approx(more - now)


def test_amounts_per_person(again: Again) -> None:
    assert again.said("kg_per_person_week", "total") == pytest.approx(again.kg_per_person_week())


def test_what_was_measured(again: Again) -> None:
    grams = sum(float(row["net_g"]) for row in again.rows("masses"))
    assert again.said("net_weight", "total") == pytest.approx(grams / 1000)
    objects = sum(int(row["objects"]) for row in again.rows("masses"))
    assert again.said("objects", "total") == objects
