"""Reports of one sort, and everything written to a folder."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from classifier.csv_text import csv_line, csv_text
from classifier.errors import StorageError, TallytareError
from classifier.report.as_json import report_json
from classifier.report.build import build_report
from classifier.report.conversions import Scope
from classifier.report.lines import Report
from classifier.report.rows import dictionary_csv, report_csv
from service.piles.item_weights import item_weights
from service.services import Services

Progress = Callable[[int, int], None]
"""Called with how many of how many reports are done."""


@dataclass(frozen=True, slots=True)
class Export:
    """What an export wrote: files relative to its folder, and reports that could not be made."""

    files: tuple[str, ...]
    sorts: int
    failed: tuple[str, ...]


def report(
    services: Services,
    sort_id: str,
    *,
    weights_from: Scope | None = None,
) -> Report:
    """Return the report of a sort; mean item weights come from the sorts that `item_weights` names.

    Raises UnknownIdError when there is no such sort or its programme file is gone.
    """
    rows = services.log.sort_rows(sort_id.lower())
    ledger = rows.ledger(keep_empty=False)
    return build_report(
        ledger,
        services.categories,
        services.programme(rows.sort.programme_id),
        priors=services.priors,
        national=services.national,
        item_weights=item_weights(services, ledger, scope=weights_from),
        sort_corrections=rows.corrections,
    )


def export(services: Services, directory: Path, *, progress: Progress | None = None) -> Export:
    """Write the log and every report into a folder; files there of the same name are replaced.

    A sort whose report can't be made (its programme file is gone) is named in the result.

    Raises StorageError when the folder can't be written or the log can't be read.
    """
    written: list[str] = []
    failed: list[str] = []
    with _disk_errors(directory):
        _write_log(services, directory, written)
        _write(directory / "report-dictionary.csv", dictionary_csv(), written, directory)
        sorts = services.log.list_sorts()
        for done, sort in enumerate(sorts, start=1):
            try:
                made = report(services, sort.id)
            except TallytareError as error:
                failed.append(f"sort {sort.name!r} ({sort.id}): {error.message}")
            else:
                text = json.dumps(report_json(made), ensure_ascii=False, indent=2) + "\n"
                base = directory / "reports" / sort.id
                _write(base.with_suffix(".json"), text, written, directory)
                _write(base.with_suffix(".csv"), report_csv(made), written, directory)
            if progress is not None:
                progress(done, len(sorts))
    return Export(files=tuple(written), sorts=len(sorts), failed=tuple(failed))


def _write_log(services: Services, directory: Path, written: list[str]) -> None:
    folder = directory / "log"
    folder.mkdir(parents=True, exist_ok=True)
    dictionary = []
    for table in services.log.tables():
        dictionary += [
            (table.name, column, doc) for column, doc in zip(table.columns, table.docs, strict=True)
        ]
        path = folder / f"{table.name}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            file.write(csv_line(table.columns))
            file.writelines(csv_line(row) for row in table.rows)
        written.append(str(path.relative_to(directory)))
    text = csv_text(("table", "column", "meaning"), dictionary)
    _write(directory / "log-dictionary.csv", text, written, directory)


def _write(path: Path, text: str, written: list[str], directory: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="")
    written.append(str(path.relative_to(directory)))


@contextmanager
def _disk_errors(directory: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise StorageError(
            f"the export to {directory} stopped ({error.strerror or error}): free some space or "
            "choose a folder that may be written, then export again; the log is unharmed",
            folder=str(directory),
        ) from error
