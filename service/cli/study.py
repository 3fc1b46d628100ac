"""`tallytare study`: many sorts as one study, in words and as files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from classifier.errors import StorageError
from classifier.study.files import dumped, study_files, study_json
from classifier.study.plan import StudyPlan, load_plan
from classifier.study.report import StudyReport
from classifier.study.words import summary
from service.cli.opened import find_sort, opened, the_one
from service.cli.output import standalone_page
from service.cli.progress import bar
from service.cli.settings import read_settings
from service.services import Services
from service.studies.report_page import annex_page, public_page
from service.studies.usecases import report_of_sorts, study_report

app = typer.Typer()


@app.command("study")
def study_command(
    name: Annotated[
        str, typer.Argument(help="Name or id of the study, or a title for --sorts.")
    ] = "",
    sorts: Annotated[
        list[str] | None,
        typer.Option("--sorts", metavar="SORT", help="A sort to take; may be given several times."),
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Strata, weights, population: TOML or JSON."),
    ] = None,
    level: Annotated[
        float | None, typer.Option(metavar="FRACTION", help="Confidence, such as 0.9 or 0.95.")
    ] = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="File for every figure as JSON.")
    ] = None,
    directory: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for pages, JSON and data package."),
    ] = None,
) -> None:
    """Report many sorts as one study: shares, rates and differences with intervals.

    Exit code 0: reported; 1: no such study, or the plan can't be used; 2: wrong arguments.
    """
    if not (name or sorts):
        raise typer.BadParameter("nothing to report: give the name of a study, or --sorts")
    with opened(read_settings()) as services:
        report = _reported(services, name, sorts or [], plan_for(services, plan, level))
        typer.echo(summary(report))
        try:
            if json_file is not None:
                json_file.write_text(dumped(study_json(report)), encoding="utf-8")
            if directory is not None:
                _write(services, report, directory)
        except OSError as error:
            raise StorageError(
                f"{error.filename}: {error.strerror or error}; choose a folder that may be written"
            ) from error


def _reported(services: Services, name: str, sorts: Sequence[str], plan: StudyPlan) -> StudyReport:
    with bar() as shown:
        if sorts:
            ids = [find_sort(services, each).id for each in sorts]
            title = name or f"{len(ids)} chosen sorts"
            return report_of_sorts(services, ids, plan, name=title, progress=shown.part)
        study = the_one(
            "study",
            name,
            services.log.studies(),
            tell_apart=lambda study: f"made {study.created_at:%Y-%m-%d}",
            none=f"in {services.log.place}",
        )
        return study_report(services, study.id, plan, progress=shown.part)


def plan_for(services: Services, file: Path | None, level: float | None) -> StudyPlan:
    """Return the plan of a file, or the default, with the level typed on the command line.

    Raises InvalidEntryError when the file or the level can't be used.
    """
    plan = load_plan(file, services.categories) if file is not None else StudyPlan()
    if level is None:
        return plan
    if not 0.5 <= level <= 0.999:
        raise typer.BadParameter(f"--level {level:g} is not from 0.5 to 0.999: write 0.9 for 90 %")
    return replace(plan, level=level)


def _write(services: Services, report: StudyReport, directory: Path) -> None:
    package = directory / "package"
    package.mkdir(parents=True, exist_ok=True)
    pages = {
        "public.html": standalone_page(bytes(public_page(report).body)),
        "annex.html": standalone_page(bytes(annex_page(report, services).body)),
        "study.json": dumped(study_json(report)),
    }
    tables = {f"package/{k}": v for k, v in study_files(report, services.categories).items()}
    for name, text in {**pages, **tables}.items():
        (directory / name).write_text(text, encoding="utf-8", newline="")
    typer.echo(f"\n{len(pages) + len(tables)} files in {directory}: {', '.join(pages)}, package/.")
