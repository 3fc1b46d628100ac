"""`tallytare sheet`: the blank field sheet, its CSV template, and the import of a filled one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import typer

from classifier.sheet.lines import Scale, SheetProblem
from classifier.sheet.read import sheet_template
from service.cli.report import find_sort, opened, standalone_page
from service.settings import Settings
from service.sheets.usecases import import_sheet, preview_sheet

_MARK = "\ufeff"  # spreadsheets take a file without it for their own code page


@dataclass(frozen=True, slots=True)
class How:
    """How a file is to be read, as typed."""

    sheet: str
    unit: str
    resolution: str
    decimal: str
    sorter: str

    @property
    def options(self) -> dict[str, Any]:
        """The arguments of the use cases."""
        return {
            "sheet": self.sheet,
            "scale": Scale(self.unit, self.resolution),
            "decimal_comma": {"comma": True, "point": False}.get(self.decimal),
        }


def write_blank(
    settings: Settings,
    *,
    programme: str,
    sort: str,
    paper: Literal["a4", "letter"],
    output: Path | None,
) -> None:
    """Write a blank sheet as a page that stands alone."""
    from service.sheets.page import blank_sheet, sheet_of_sort

    with opened(settings) as services:
        if sort:
            page = sheet_of_sort(services, find_sort(services, sort).id, paper)
        else:
            page = blank_sheet(services, programme, paper)
    _write(standalone_page(bytes(page.body)), output)


def write_template(settings: Settings, output: Path | None) -> None:
    """Write the empty sheet as CSV."""
    with opened(settings) as services:
        _write(_MARK + sheet_template(services.categories), output)


def run_import(settings: Settings, file: Path, sort: str, how: How, *, accept_good: bool) -> bool:
    """Import a file, say what was done, and return whether every line was good."""
    data = file.read_bytes()
    with opened(settings) as services:
        found = find_sort(services, sort)
        preview = preview_sheet(services, sort_id=found.id, data=data, **how.options)
        _tell(file, preview.problems)
        if preview.problems and not accept_good:
            typer.echo(
                f"Nothing was recorded: {_good(len(preview.new))}; mend the others, "
                "or add --accept-good.",
                err=True,
            )
            return False
        done = import_sheet(
            services,
            sort_id=found.id,
            data=data,
            **how.options,
            sorter=how.sorter,
            accept_good=accept_good,
        )
    left = len({problem.line for problem in done.problems})
    typer.echo(
        f"{found.name}: {done.recorded} {'line' if done.recorded == 1 else 'lines'} recorded, "
        f"{done.before} {'was' if done.before == 1 else 'were'} there before, {left} left out."
    )
    return not left


def _good(lines: int) -> str:
    return "1 new line is good" if lines == 1 else f"{lines} new lines are good"


def _tell(file: Path, problems: Sequence[SheetProblem]) -> None:
    for each in problems:
        column = f", {each.column}" if each.column else ""
        given = f" {each.given!r}" if each.given else ""
        typer.echo(f"{file.name}, line {each.line}{column}{given}: {each.message}", err=True)


def _write(text: str, output: Path | None) -> None:
    data = text.encode("utf-8")
    if output is None:
        typer.echo(data, nl=False)
    else:
        output.write_bytes(data)
