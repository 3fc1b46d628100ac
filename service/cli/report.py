"""`tallytare report` and `tallytare export`: what was recorded, out of the store."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

import typer

from classifier.report.as_json import report_json
from classifier.report.conversions import Scope
from classifier.report.rows import report_csv
from service.cli.opened import find_sort, opened
from service.cli.output import Output, standalone_page, write_text
from service.cli.progress import bar
from service.cli.settings import read_settings
from service.reports.page import show_report
from service.reports.usecases import export, report
from service.services import Services

app = typer.Typer()
Format = Literal["html", "json", "csv"]


@app.command("report")
def report_command(
    sort: Annotated[str, typer.Argument(help="Name or id of the sort, or how the id begins.")],
    form: Annotated[
        Format, typer.Option("--format", help="A page that stands alone, JSON, or tidy CSV.")
    ] = "html",
    output: Output = None,
    weights_from: Annotated[
        Scope | None,
        typer.Option(
            help="Mean item weights from this sort, its study, or the whole store; left out: the "
            "study, outside one the sort."
        ),
    ] = None,
) -> None:
    """Write the report of one sort, to standard output or to a file."""
    with opened(read_settings()) as services:
        text = _report(services, find_sort(services, sort).id, form, weights_from)
    write_text(text, output)


def _report(services: Services, sort_id: str, form: Format, scope: Scope | None) -> str:
    if form == "json":
        found = report_json(report(services, sort_id, weights_from=scope))
        return json.dumps(found, ensure_ascii=False, indent=2) + "\n"
    if form == "csv":
        return report_csv(report(services, sort_id, weights_from=scope))
    return standalone_page(bytes(show_report(services, sort_id, scope).body))


@app.command("export")
def export_command(
    directory: Annotated[Path, typer.Argument(help="Folder to write to; made if need be.")],
) -> None:
    """Write the whole log and every report to a folder, as CSV and JSON.

    Exit code 0: all was written; 1: something could not be, and is named.
    """
    with opened(read_settings()) as services, bar("report") as shown:
        result = export(services, directory, progress=shown.done)
    typer.echo(f"{len(result.files)} files in {directory}, {result.sorts} sorts.")
    for problem in result.failed:
        typer.echo(f"not made: {problem}", err=True)
    raise typer.Exit(1 if result.failed else 0)
