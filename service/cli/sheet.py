"""`tallytare sheet`: the blank field sheet, its CSV template, and the import of a filled one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from classifier.sheet.lines import Scale, SheetProblem
from classifier.sheet.read import sheet_template
from service.cli.opened import find_sort, opened
from service.cli.output import Output, standalone_page, write_text
from service.cli.settings import read_settings
from service.sheets.page import blank_sheet, sheet_of_sort
from service.sheets.usecases import import_sheet, preview_sheet

app = typer.Typer(
    help="Paper first: print a field sheet, fill it at the table, import it later.",
    no_args_is_help=True,
)
_MARK = "\ufeff"  # spreadsheets take a file without it for their own code page


@app.command("print")
def print_command(
    programme: Annotated[
        str, typer.Option(metavar="ID", help="Programme whose routes stand at the piles.")
    ] = "",
    sort: Annotated[str, typer.Option(metavar="SORT", help="Sort whose head is filled in.")] = "",
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Size of the paper.")] = "a4",
    output: Output = None,
) -> None:
    """Write a blank field sheet as a page; open it in a browser and print it."""
    with opened(read_settings()) as services:
        if sort:
            page = sheet_of_sort(services, find_sort(services, sort).id, paper)
        else:
            page = blank_sheet(services, programme, paper)
    write_text(standalone_page(bytes(page.body)), output)


@app.command("template")
def template_command(output: Output = None) -> None:
    """Write the empty sheet as CSV, to be filled in a spreadsheet."""
    with opened(read_settings()) as services:
        write_text(_MARK + sheet_template(services.categories), output)


@app.command("import")
def import_command(
    file: Annotated[Path, typer.Argument(help="The filled sheet, CSV.", show_default=False)],
    sort: Annotated[
        str, typer.Option(metavar="SORT", help="Name or id of the sort.", show_default=False)
    ],
    sheet: Annotated[
        str, typer.Option(metavar="NUMBER", help="Tells several sheets of one sort apart.")
    ] = "1",
    unit: Annotated[
        str, typer.Option(metavar="UNIT", help="Unit of lines that name none: kg, g, lb, oz.")
    ] = "",
    resolution: Annotated[
        str, typer.Option(metavar="STEP", help="Scale's step for lines that name none.")
    ] = "",
    decimal: Annotated[
        Literal["comma", "point"] | None,
        typer.Option(help="Decimal mark; left out: as the file shows."),
    ] = None,
    sorter: Annotated[str, typer.Option(metavar="NAME", help="Who sorted.")] = "",
    accept_good: Annotated[
        bool, typer.Option("--accept-good", help="Record the good lines, leave out the others.")
    ] = False,
) -> None:
    """Record a filled field sheet; nothing unless all lines are good or --accept-good is given.

    Exit code 0: recorded, or there before; 1: some lines have problems; 2: wrong arguments.
    """
    data = file.read_bytes()
    with opened(read_settings()) as services:
        found = find_sort(services, sort)
        read: dict[str, Any] = {
            "sort_id": found.id,
            "data": data,
            "sheet": sheet,
            "scale": Scale(unit, resolution),
            "decimal_comma": None if decimal is None else decimal == "comma",
        }
        preview = preview_sheet(services, **read)
        _say(file, preview.problems)
        if preview.problems and not accept_good:
            typer.echo(
                f"Nothing was recorded: {_good(len(preview.new))}; correct the others, "
                "or add --accept-good.",
                err=True,
            )
            raise typer.Exit(1)
        done = import_sheet(services, **read, sorter=sorter, accept_good=accept_good)
    left = len({problem.line for problem in done.problems})
    typer.echo(
        f"{found.name}: {done.recorded} {'line' if done.recorded == 1 else 'lines'} recorded, "
        f"{done.before} {'was' if done.before == 1 else 'were'} there before, {left} left out."
    )
    raise typer.Exit(1 if left else 0)


def _good(lines: int) -> str:
    return "1 new line is good" if lines == 1 else f"{lines} new lines are good"


def _say(file: Path, problems: Sequence[SheetProblem]) -> None:
    for each in problems:
        column = f", {each.column}" if each.column else ""
        given = f" {each.given!r}" if each.given else ""
        typer.echo(f"{file.name}, line {each.line}{column}{given}: {each.message}", err=True)
