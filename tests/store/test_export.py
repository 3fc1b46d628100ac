"""Everything written to a folder: reports, the log, and what each column means."""

from __future__ import annotations

import csv
import json
from pathlib import Path

from classifier.log.records import SortInfo
from classifier.report.as_json import report_json
from classifier.report.rows import report_csv
from service.reports import usecases as reports
from service.services import Services
from service.sorting import items
from service.store.tables import EXPORTED_TABLES
from tests.fakes import new_id
from tests.store.entries import correct_details, enter, start, take, weigh


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_an_export_holds_reports_and_log(
    services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    """The same figures as the report's own formats, and a row for each row of the log."""
    photo = take(services, sort)
    item = enter(services, sort, capture_id=photo.id).item
    items.correct(services, item_id=item.id, change_id=new_id(), category="food", count=2)
    weigh(services, sort, "food", gross="1.20")
    correct_details(services, sort, persons=5, reason="misread")
    other = start(services, name="Second")
    made = reports.export(services, tmp_path)
    assert (made.sorts, made.failed) == (2, ())
    assert all((tmp_path / name).is_file() for name in made.files)
    assert {path.stem for path in (tmp_path / "reports").glob("*.json")} == {sort.id, other.id}
    written = json.loads((tmp_path / "reports" / f"{sort.id}.json").read_text(encoding="utf-8"))
    assert written == report_json(reports.report(services, sort.id))
    as_csv = (tmp_path / "reports" / f"{sort.id}.csv").read_bytes().decode()
    assert as_csv == report_csv(reports.report(services, sort.id))
    (logged,) = _rows(tmp_path / "log" / "items.csv")
    assert (logged["id"], logged["category"]) == (item.id, "corrugated_cardboard")
    (change,) = _rows(tmp_path / "log" / "item_changes.csv")
    assert (change["category"], change["facts"]) == ("food", "{}")
    (weighing,) = _rows(tmp_path / "log" / "weighings.csv")
    assert weighing["gross"] == "1.20"
    (corrected,) = _rows(tmp_path / "log" / "sort_corrections.csv")
    assert (corrected["sort_id"], corrected["persons"]) == (sort.id, "5")
    assert written["sort"]["persons"] == 5
    assert written["corrections"]["sort_details"][0]["reason"] == "misread"


def test_the_log_dictionary_names_every_column(
    services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    """So that the files can be read without the program."""
    enter(services, sort)
    reports.export(services, tmp_path)
    named = {(row["table"], row["column"]) for row in _rows(tmp_path / "log-dictionary.csv")}
    for table in EXPORTED_TABLES:
        with (tmp_path / "log" / f"{table.name}.csv").open(encoding="utf-8") as file:
            for column in next(csv.reader(file)):
                assert (table.name, column) in named


def test_no_cell_is_run_by_a_spreadsheet(
    services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    """A note that begins like a formula is text."""
    enter(services, sort, note='=HYPERLINK("http://elsewhere.example")', sorter="@Ada")
    reports.export(services, tmp_path)
    (logged,) = _rows(tmp_path / "log" / "items.csv")
    assert logged["note"].startswith("'=")
    assert logged["sorter"] == "'@Ada"
