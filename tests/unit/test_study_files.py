"""A study as files that other programs read without help."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from classifier.study.dictionary import FIGURE_COLUMNS, MASS_COLUMNS, SORT_COLUMNS
from classifier.study.files import figure_rows, study_files, study_json, study_zip
from classifier.study.report import StudyReport
from tests.unit.study_cases import CATEGORIES, a_member, drawn, reported, totals

PLAN = {"compare": "stratum", "national": "generated", "weights": {"a": 1, "b": 2}}


@pytest.fixture(scope="module")
def report() -> StudyReport:
    return reported(drawn(12, ("a", "b")), PLAN)


@pytest.fixture(scope="module")
def folder(report: StudyReport, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("package")
    for name, text in study_files(report, CATEGORIES).items():
        (path / name).write_text(text, encoding="utf-8", newline="")
    return path


def test_the_package_holds_what_the_standard_asks_for(folder: Path) -> None:
    """Data Package and Table Schema, version 1 (specs.frictionlessdata.io)."""
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert package["profile"] == "tabular-data-package"
    assert package["name"] == package["name"].lower()
    for resource in package["resources"]:
        text = (folder / resource["path"]).read_text(encoding="utf-8")
        header = next(csv.reader(io.StringIO(text)))
        fields = [field["name"] for field in resource["schema"]["fields"]]
        assert header == fields
        assert all(field["description"] for field in resource["schema"]["fields"])


def test_frictionless_finds_the_package_valid(folder: Path) -> None:
    pytest.importorskip("frictionless")
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "frictionless", "validate", "datapackage.json",
         "--json"],
        capture_output=True, text=True, check=False, cwd=folder,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


def test_pandas_reads_numbers_as_numbers(folder: Path, report: StudyReport) -> None:
    pandas = pytest.importorskip("pandas")
    figures = pandas.read_csv(folder / "figures.csv")
    assert list(figures.columns) == [column.name for column in FIGURE_COLUMNS]
    assert len(figures) == len(report.figures)
    for column in ("value", "low", "high", "confidence"):
        assert figures[column].dtype == float
    masses = pandas.read_csv(folder / "masses.csv")
    assert masses.net_g.sum() / 1000 == pytest.approx(report.kg)
    shares = figures[(figures.measure == "share_mean") & (figures.level == "category")]
    whole = shares[shares.stratum == "whole study"]
    assert whole.value.sum() == pytest.approx(1, abs=1e-6)


def test_every_estimate_can_be_worked_out_again_from_the_package() -> None:
    """By means of its own: shares, amounts, rates and potential from the tables and the plan."""
    sorts, grams = [], []
    generator = np.random.default_rng(5)
    for number in range(12):
        for container in ("recycling", "refuse"):
            stratum = f"{('flats', 'houses')[number % 2]}/{container}"
            sorts.append(a_member(len(sorts), stratum, place=f"H{number}", persons=1 + number % 3,
                                  sorted_on=a_member(number).sorted_on,
                                  days=7 if container == "refuse" else 14))  # fmt: skip
            names = ("food", "paperboard", "plastic_film", "pet_bottles")
            grams.append({name: float(generator.integers(5, 900)) for name in names})
    plan = {
        "parts": ["area", "container"], "strata": ["area"], "weights": {"flats": 1, "houses": 4},
        "person_weights": {"flats": 3, "houses": 5}, "what_if": ["plastic_film"],
        "streams": {"part": "container"},
    }  # fmt: skip
    routes = {"food": "organics", "plastic_film": "residual"}
    report = reported(totals(sorts, grams, routes=routes), plan)
    files = study_files(report, CATEGORIES)
    package = json.loads(files["datapackage.json"])

    def rows(name: str) -> list[dict[str, str]]:
        return list(csv.DictReader(io.StringIO(files[f"{name}.csv"])))

    told = {
        (row["measure"], row["level"], row["id"]): float(row["value"])
        for row in rows("figures") if row["stratum"] == "whole study" and row["value"]
    }  # fmt: skip
    own = {row["sort"]: row for row in rows("sorts")}
    days = {sort: float(row["days"]) for sort, row in own.items()}
    weights = package["plan"]["weights"]
    area = {row["place_number"]: row["stratum"].split("/")[0] for row in own.values()}
    # Both containers of a place over the days of the recycling.
    longest = {row["place_number"]: float(row["days"]) for row in own.values()
               if row["stratum"].endswith("recycling")}  # fmt: skip
    mass: dict[tuple[str, str, str, str], float] = {}
    for row in rows("routes"):
        sort = own[row["sort"]]
        place, container = sort["place_number"], sort["stratum"].split("/")[1]
        key = (place, container, row["category"], row["route"])
        mass[key] = float(row["net_g"]) * longest[place] / days[row["sort"]]

    def of(place: str, keep: Callable[[str, str, str], bool]) -> float:
        return sum(g for (at, *rest), g in mass.items() if at == place and keep(*rest))

    def combined(top: Callable[..., bool], bottom: Callable[..., bool]) -> float:
        shares = []
        for keep in (top, bottom):
            total = 0.0
            for name, weight in weights.items():
                inside = [place for place, where in area.items() if where == name]
                part = sum(of(place, keep) for place in inside)
                total += weight * part / sum(of(place, lambda *_: True) for place in inside)
            shares.append(total)
        return shares[0] / shares[1]

    def mean(keep: Callable[..., bool]) -> float:
        found = 0.0
        for name, weight in weights.items():
            inside = [place for place, where in area.items() if where == name]
            each = [of(place, keep) / of(place, lambda *_: True) for place in inside]
            found += weight * sum(each) / len(each)
        return found / sum(weights.values())

    assert told["capture", "rate", "capture"] == pytest.approx(
        combined(
            lambda where, _, route: where == "recycling" and route == "kerbside",
            lambda _, __, route: route == "kerbside",
        )
    )
    assert told["contamination", "rate", "contamination"] == pytest.approx(
        combined(
            lambda where, _, route: where == "recycling" and route != "kerbside",
            lambda where, *_: where == "recycling",
        )
    )
    for name in ("food", "paperboard", "plastic_film", "pet_bottles"):
        expected = mean(lambda _, category, __, name=name: category == name)
        assert told["share_mean", "category", name] == pytest.approx(expected)
    recovered = {row["route"] for row in rows("routes") if row["kind"] == "recovered"}
    now = mean(lambda _, __, route: route in recovered)
    more = mean(lambda _, name, route: route in recovered or name in package["plan"]["what_if"])
    assert told["recovery_potential", "total", "total"] == pytest.approx(now)
    assert told["recovery_potential_change", "total", "total"] == pytest.approx(more - now)
    weekly = 0.0
    for name, persons in package["plan"]["person_weights"].items():
        inside = [place for place, where in area.items() if where == name]
        heads = {row["place_number"]: float(row["persons"]) for row in own.values()}
        person_weeks = sum(heads[place] * longest[place] / 7 for place in inside)
        weekly += persons * sum(of(place, lambda *_: True) for place in inside) / person_weeks
    weekly /= 1000 * sum(package["plan"]["person_weights"].values())
    assert told["kg_per_person_week", "total", "total"] == pytest.approx(weekly)


def test_masses_by_route_add_up_to_the_masses(report: StudyReport) -> None:
    files = study_files(report, CATEGORIES)
    sums: dict[tuple[str, str], float] = {}
    for row in csv.DictReader(io.StringIO(files["routes.csv"])):
        key = (row["sort"], row["category"])
        sums[key] = sums.get(key, 0.0) + float(row["net_g"])
        assert 0 <= float(row["split_g"]) <= float(row["net_g"])
    for row in csv.DictReader(io.StringIO(files["masses.csv"])):
        assert sums[row["sort"], row["category"]] == pytest.approx(float(row["net_g"]))


def test_names_and_places_of_households_stay_behind(report: StudyReport) -> None:
    told = "".join(study_files(report, CATEGORIES).values())
    assert "House" not in told
    assert {column.name for column in SORT_COLUMNS}.isdisjoint({"name", "place"})
    assert "place" not in {column.name for column in MASS_COLUMNS}


def test_a_text_that_a_spreadsheet_would_run_is_made_plain() -> None:
    given = drawn(4)
    sorts = [replace(sort, stratum="=1+1") for sort in given.sorts]
    grams = [{"food": 5.0 + k, "wood": 3.0} for k in range(4)]
    report = reported(totals(sorts, grams))
    sorts_csv = study_files(report, CATEGORIES)["sorts.csv"]
    assert "'=1+1" in sorts_csv
    assert all(not str(row["stratum"]).startswith("=") for row in figure_rows(report))


def test_the_zip_is_the_same_every_time_and_holds_the_files(report: StudyReport) -> None:
    files = study_files(report, CATEGORIES)
    packed = study_zip(files)
    assert packed == study_zip(files)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert set(archive.namelist()) == set(files)


def test_json_holds_the_same_figures_as_csv(report: StudyReport) -> None:
    told = json.loads(json.dumps(study_json(report), allow_nan=False))
    rows = figure_rows(report)
    assert [each["value"] for each in told["figures"]] == [row["value"] for row in rows]
    assert told["plan"]["level"] == 0.90
    assert told["notes"] == list(report.notes)
