"""`tallytare study`: many sorts as one study, in words and as files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import typer
from tqdm import tqdm

from classifier.errors import StorageError, UnknownIdError
from classifier.study.files import dumped, study_files, study_json
from classifier.study.plan import StudyPlan, load_plan
from classifier.study.report import Steps, StudyReport
from classifier.study.words import summary
from service.cli.named import named
from service.cli.progress import PATIENCE_S
from service.cli.report import find_sort, standalone_page
from service.services import Services
from service.store.rows import Study
from service.studies.usecases import report_of_sorts, study_report


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


def find_study(services: Services, wanted: str) -> Study:
    """Return the one study with this id, name, or beginning of an id.

    Raises UnknownIdError when there is none, or more than one.
    """
    every = services.log.studies()
    matches = named(wanted, every)
    if len(matches) == 1:
        return matches[0]
    if matches:
        listed = "; ".join(study.id for study in matches)
        raise UnknownIdError(
            f"{wanted!r} names {len(matches)} studies: {listed}; give the id of one",
            study=wanted,
        )
    listed = "; ".join(f"{study.name} ({study.id})" for study in every[:10]) or "none yet"
    raise UnknownIdError(
        f"there is no study {wanted!r}; recorded: {listed}; give the name or id of one",
        study=wanted,
    )


def run_study(
    services: Services,
    *,
    name: str,
    sorts: Sequence[str],
    plan: StudyPlan,
    json_file: Path | None,
    directory: Path | None,
) -> None:
    """Work a study out, tell it on standard output and write the files that are asked for.

    Raises UnknownIdError for a study or sort that isn't there, StorageError when a file can't be
    written.
    """
    with _steps() as told:
        if sorts:
            ids = [find_sort(services, each).id for each in sorts]
            title = name or f"{len(ids)} chosen sorts"
            report = report_of_sorts(services, ids, plan, name=title, progress=told)
        else:
            study = find_study(services, name)
            report = study_report(services, study.id, plan, progress=told)
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


def _write(services: Services, report: StudyReport, directory: Path) -> None:
    from service.studies.report_page import annex_page, public_page

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


@contextmanager
def _steps() -> Iterator[Steps]:
    """Give a bar that shows how far resampling is, once it takes longer than two seconds."""
    bars: dict[str, tqdm] = {}  # type: ignore[type-arg]

    def tell(what: str, done: int, total: int) -> None:
        bar = bars.get(what)
        if bar is None:
            _close(bars)
            bar = bars[what] = tqdm(total=total, desc=what, delay=PATIENCE_S, leave=False)
        bar.update(done - bar.n)

    try:
        yield tell
    finally:
        _close(bars)


def _close(bars: dict[str, tqdm]) -> None:  # type: ignore[type-arg]
    for bar in bars.values():
        bar.close()
