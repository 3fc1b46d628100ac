"""`tallytare demo`, `report` and `export` on a store made by the demo."""

from __future__ import annotations

import csv
import io
import json
import time
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

import pytest

from classifier.rules.categories import load_categories
from classifier.rules.programme_rules import ROUTES
from service.cli import demo, demo_data
from service.cli.demo_data import Demo, load_demo
from service.services import Services
from service.settings import Settings
from service.wiring import build_services
from tests.cli.conftest import Run
from tests.fakes import FakeClock

NAME = "Demo: one week of a shared flat"


@pytest.fixture(scope="module")
def demo_folder(tmp_path_factory: pytest.TempPathFactory, tiny: Path) -> Path:
    """The data folder of a demo sort, made once; the tests here only read it."""
    settings = Settings(data_dir=tmp_path_factory.mktemp("demo") / "demo", bundle=str(tiny))
    services = build_services(settings)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(demo_data, "PACKAGE", "demo_images")
        demo.make_demo_sort(services)
    services.close()
    return settings.data_dir


@pytest.fixture(name="demo")
def _demo(run: Run, demo_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let commands work on the store of the demo; `run` has set its own, which this replaces."""
    del run
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(demo_folder))


def test_demo_tells_each_picture_and_the_totals(
    run: Run, demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo_data, "PACKAGE", "demo_images")
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(demo_folder))
    before = run("report", NAME, "--format", "json").out
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(demo_folder.parent))
    ran = run("demo", "--no-serve")
    assert ran.code == 0
    pictures = load_demo().answers
    assert len([line for line in ran.out.splitlines() if "model: " in line]) == len(pictures)
    assert f"of {len(pictures)} pictures." in ran.out
    assert f"Sort '{NAME}': " in ran.out
    assert "kg weighed." in ran.out
    # It was recorded before: the same ids were sent again, and nothing was counted twice.
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(demo_folder))
    assert run("report", NAME, "--format", "json").out == before


def test_demo_answers_fit_the_categories_and_the_pictures() -> None:
    categories = load_categories()
    rows = table("sort_answers.csv")
    pictures = {row["file"] for row in table("manifest.csv")}
    assert pictures <= {row["file"] for row in rows}
    counted = set()
    for row in rows:
        if row["category"]:
            category = categories.get(row["category"])
            counted.add(category.id)
            facts = dict(pair.split("=") for pair in row["facts"].split(";") if pair)
            assert all(category.fits(*each) for each in categories.known_answers(facts).items())
    assert {row["category"] for row in table("sort_weighings.csv")} <= counted


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone can't be set there")
def test_the_demo_is_sorted_on_the_day_where_it_runs(
    services: Services, clock: FakeClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo, "load_demo", lambda: Demo({}, (), (), "nothing"))
    clock.now = datetime(2026, 5, 2, 5, 0, tzinfo=UTC)
    with monkeypatch.context() as patched:
        patched.setenv("TZ", "ZONE10")  # ten hours behind UTC, as POSIX writes it
        time.tzset()
        day = demo.make_demo_sort(services).sorted_on
    time.tzset()
    assert day == date(2026, 5, 1)


def table(name: str) -> list[dict[str, str]]:
    text = (files("demo_images") / name).read_text("utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def test_demo_without_its_pictures(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo_data, "PACKAGE", "no_such_pictures")
    ran = run("demo", "--no-serve")
    assert ran.code == 1
    assert "the demo pictures aren't installed" in ran.err


def test_demo_without_a_model(run: Run, tmp_path: Path) -> None:
    ran = run("demo", "--no-serve", "--bundle", tmp_path / "gone")
    assert ran.code == 1
    assert "neither a shipped bundle nor a directory" in ran.err


@pytest.mark.usefixtures("demo")
def test_report_as_json_and_csv_agree(run: Run) -> None:
    ran = run("report", NAME, "--format", "json")
    assert ran.code == 0
    report = json.loads(ran.out)
    assert report["sort"]["name"] == NAME
    rows = list(csv.DictReader(io.StringIO(run("report", NAME, "--format", "csv").out)))
    assert {row["sort_id"] for row in rows} == {report["sort"]["id"]}


@pytest.mark.usefixtures("demo")
def test_report_is_found_by_the_beginning_of_its_id(run: Run) -> None:
    sort_id = json.loads(run("report", NAME.upper(), "--format", "json").out)["sort"]["id"]
    assert json.loads(run("report", sort_id[:8], "--format", "json").out)["sort"]["id"] == sort_id


@pytest.mark.usefixtures("demo")
def test_report_page_stands_alone(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "report.html"
    assert run("report", NAME, "-o", file).code == 0
    page = file.read_text("utf-8")
    assert NAME in page
    assert "<style>" in page
    assert ".tabs, .skip, .no-print { display: none; }" in page
    assert "/static/" not in page
    assert 'href="/' not in page
    assert any(route.name in page for route in ROUTES.values())


@pytest.mark.usefixtures("demo")
def test_unknown_sort_names_those_there_are(run: Run) -> None:
    ran = run("report", "kitchen")
    assert ran.code == 1
    assert "there is no sort 'kitchen' in " in ran.err
    assert f"recorded there: {NAME} (" in ran.err


def test_no_sorts_yet(run: Run) -> None:
    ran = run("report", "kitchen")
    assert ran.code == 1
    assert "recorded there: none yet" in ran.err
    assert "that of the demo" not in ran.err


@pytest.mark.usefixtures("demo")
def test_unknown_sort_says_where_the_demo_is(
    run: Run, demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(demo_folder.parent))
    ran = run("report", NAME)
    assert f"in {demo_folder.parent / 'tallytare.sqlite3'}" in ran.err
    assert (
        f"TALLYTARE_DATA_DIR to the folder of another store; that of the demo is {demo_folder}"
        in (ran.err)
    )


@pytest.mark.usefixtures("demo")
@pytest.mark.parametrize("scope", ["sort", "study", "store"])
def test_item_weights_are_pooled_as_asked(run: Run, scope: str) -> None:
    ran = run("report", NAME, "--format", "json", "--weights-from", scope)
    used = json.loads(ran.out)["item_weights"]
    assert used["scope"] == {"study": "sort"}.get(scope, scope)  # the demo is in no study
    assert run("report", NAME, "--weights-from", scope).code == 0
    assert run("report", NAME, "--format", "csv", "--weights-from", scope).code == 0


@pytest.mark.usefixtures("demo")
def test_report_to_a_folder_that_is_not_there(run: Run, tmp_path: Path) -> None:
    ran = run("report", NAME, "-o", tmp_path / "gone" / "report.html")
    assert ran.code == 1
    assert "report.html: No such file or directory; check it and try again" in ran.err


@pytest.mark.usefixtures("demo")
def test_unknown_format_is_a_usage_error(run: Run) -> None:
    ran = run("report", NAME, "--format", "pdf")
    assert ran.code == 2
    assert "'html', 'json', 'csv'" in ran.said


@pytest.mark.usefixtures("demo")
def test_export_writes_log_and_reports(run: Run, tmp_path: Path) -> None:
    ran = run("export", tmp_path / "out")
    assert ran.code == 0
    assert f"files in {tmp_path / 'out'}, 1 sorts." in ran.out
    assert list((tmp_path / "out" / "log").glob("*.csv"))
    assert len(list((tmp_path / "out" / "reports").glob("*.json"))) == 1


@pytest.mark.usefixtures("demo")
def test_export_to_a_file_is_refused(run: Run, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    ran = run("export", tmp_path / "out")
    assert ran.code == 1
    assert "the export to" in ran.err
