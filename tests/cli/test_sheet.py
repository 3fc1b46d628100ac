"""`tallytare sheet`: a blank sheet, its template, and the import of a filled one."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from classifier.rules.categories import load_categories
from service.model_cache import LoadedModel
from service.settings import Settings
from service.sorts.usecases import create_sort
from service.wiring import build_services
from tests.cli.conftest import Run
from tests.fakes import new_id

HEAD = "category,count,gross,tare,unit,resolution,method,bucket,contents_left,note\n"
GOOD = HEAD + "Steel cans,12,1.25,0.25,kg,0.01,,,,\nFood,3,,,,,,,,\n"


@pytest.fixture
def sort(data_dir: Path) -> str:
    """Return the name of a sort in the store of the command."""
    services = build_services(Settings(data_dir=data_dir), model=LoadedModel(None, None, ""))
    made = create_sort(
        services, sort_id=new_id(), name="Bag 7", place="Flat 3", sorted_on=date(2026, 5, 1),
        days=7, persons=2, programme_id="port_sable", sorters=("Ada",),
    )  # fmt: skip
    services.close()
    return made.name


@pytest.fixture
def filled(tmp_path: Path) -> Path:
    """Return a filled sheet."""
    path = tmp_path / "filled.csv"
    path.write_text(GOOD, encoding="utf-8")
    return path


def test_a_blank_sheet_stands_alone(run: Run, sort: str, tmp_path: Path) -> None:
    file = tmp_path / "sheet.html"
    assert run("sheet", "print", "--paper", "letter", "-o", file).code == 0
    page = file.read_text("utf-8")
    assert "paper-letter" in page
    assert "@page letter" in page
    assert "/static/" not in page
    own = run("sheet", "print", "--sort", sort).out
    assert "Bag 7" in own
    assert "Port Sable" in own
    unknown = run("sheet", "print", "--programme", "nowhere")
    assert unknown.code == 1
    assert "there is no programme 'nowhere'" in unknown.err


def test_the_template_holds_every_category(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    assert run("sheet", "template", "-o", file).code == 0
    lines = file.read_text("utf-8-sig").splitlines()
    assert len(lines) == 1 + len(load_categories().categories)


def test_a_good_file_is_recorded_once(run: Run, sort: str, filled: Path) -> None:
    first = run("sheet", "import", filled, "--sort", sort, "--sorter", "Ada")
    assert (first.code, first.err) == (0, "")
    assert "Bag 7: 2 lines recorded, 0 were there before, 0 left out." in first.out
    again = run("sheet", "import", filled, "--sort", sort)
    assert "0 lines recorded, 2 were there before" in again.out
    assert '"count": 15' in run("report", sort, "--format", "json").out


def test_problems_are_named_and_nothing_recorded(run: Run, sort: str, filled: Path) -> None:
    filled.write_text(GOOD + 'spoons,x,,,,,,,,\nFood,,"1,250",,,1,,,,\n', encoding="utf-8")
    ran = run("sheet", "import", filled, "--sort", sort)
    assert ran.code == 1
    assert "filled.csv, line 4, category 'spoons': category 'spoons' is not in the list" in ran.err
    assert "filled.csv, line 4, count 'x': " in ran.err
    assert "filled.csv, line 5, unit: the unit is missing" in ran.err
    assert "Nothing was recorded: 2 new lines are good" in ran.err
    accepted = run("sheet", "import", filled, "--sort", sort, "--accept-good", "--unit", "kg",
                   "--decimal", "comma")  # fmt: skip
    assert accepted.code == 1
    assert "Bag 7: 3 lines recorded, 0 were there before, 1 left out." in accepted.out


def test_a_missing_file_or_sort(run: Run, sort: str, filled: Path, tmp_path: Path) -> None:
    gone = run("sheet", "import", tmp_path / "gone.csv", "--sort", sort)
    assert gone.code == 1
    assert "gone.csv: No such file or directory" in gone.err
    assert "there is no sort 'Bag 8'" in run("sheet", "import", filled, "--sort", "Bag 8").err
