"""A study as files that other programs read without help."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from classifier.study.dictionary import column_names
from classifier.study.files import figure_rows, study_files, study_json, study_zip
from classifier.study.report import StudyReport
from tests.unit.study.study_cases import CATEGORIES, drawn, reported, totals

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
    assert list(figures.columns) == column_names("figures")
    assert len(figures) == len(report.figures)
    for column in ("value", "low", "high", "confidence"):
        assert figures[column].dtype == float
    masses = pandas.read_csv(folder / "masses.csv")
    assert masses.net_g.sum() / 1000 == pytest.approx(report.kg)
    shares = figures[(figures.measure == "share_mean") & (figures.level == "category")]
    whole = shares[shares.stratum == "whole study"]
    assert whole.value.sum() == pytest.approx(1, abs=1e-6)


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
    said = "".join(study_files(report, CATEGORIES).values())
    assert "House" not in said
    assert set(column_names("sorts")).isdisjoint({"name", "place"})
    assert "place" not in column_names("masses")


def test_a_text_that_a_spreadsheet_would_run_is_made_plain() -> None:
    given = drawn(4)
    sorts = [replace(sort, stratum=f"={n % 2}+1") for n, sort in enumerate(given.sorts)]
    grams = [{"food": 5.0 + k, "wood": 3.0} for k in range(4)]
    report = reported(totals(sorts, grams))
    files = study_files(report, CATEGORIES)
    for name in ("sorts.csv", "figures.csv"):
        strata = {row["stratum"] for row in csv.DictReader(io.StringIO(files[name], newline=""))}
        assert {"'=0+1", "'=1+1"} <= strata
        assert not any(stratum.startswith("=") for stratum in strata)


def test_the_zip_is_the_same_every_time_and_holds_the_files(report: StudyReport) -> None:
    files = study_files(report, CATEGORIES)
    packed = study_zip(files)
    assert packed == study_zip(files)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert set(archive.namelist()) == set(files)


def test_json_holds_the_same_figures_as_csv(report: StudyReport) -> None:
    said = json.loads(json.dumps(study_json(report), allow_nan=False))
    rows = figure_rows(report)
    assert [each["value"] for each in said["figures"]] == [row["value"] for row in rows]
    assert said["plan"]["level"] == 0.90
    assert said["notes"] == list(report.notes)
