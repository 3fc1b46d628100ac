"""`tallytare report` and `tallytare export`: what was recorded, out of the store."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import get_args

import typer
from tqdm import tqdm

from classifier.errors import UnknownIdError
from classifier.log.records import SortInfo
from classifier.report.conversions import Scope
from service.cli.demo import demo_settings
from service.cli.named import named
from service.cli.progress import PATIENCE_S
from service.model_cache import LoadedModel
from service.reports.usecases import export, report_as_csv, report_as_json
from service.services import Services
from service.settings import Settings
from service.sorts.usecases import list_sorts
from service.wiring import build_services

_STYLE = re.compile(r'<link rel="stylesheet" href="/static/([\w.-]+)">')
_OTHER_PARTS = re.compile(r"<link rel=\"icon\"[^>]*>|<script\b[^>]*\bsrc=[^>]*></script>")
_ONLY_IN_SERVICE = (
    "<style>.masthead nav, .tabs, .skip, .no-print { display: none; }</style>\n</head>"
)
_LOCAL_LINK = re.compile(r'\s(?:href|src|action)="/[^"]*"')


@contextmanager
def opened(settings: Settings) -> Iterator[Services]:
    """Give the services without a model, and close the log afterwards.

    Raises StorageError or DataFileError when store, categories or programmes can't be used.
    """
    services = build_services(settings, model=LoadedModel(None, None, ""))
    try:
        yield services
    finally:
        services.close()


def find_sort(services: Services, wanted: str) -> SortInfo:
    """Return the one sort with this id, name, or beginning of an id.

    Raises UnknownIdError when there is none, or more than one.
    """
    sorts = list_sorts(services)
    matches = named(wanted, sorts)
    if len(matches) == 1:
        return matches[0]
    if matches:
        listed = "; ".join(f"{sort.id} ({sort.sorted_on})" for sort in matches)
        raise UnknownIdError(
            f"{wanted!r} names {len(matches)} sorts: {listed}; give the id of one",
            sort=wanted,
        )
    listed = "; ".join(f"{sort.name} ({sort.id})" for sort in sorts[:10]) or "none yet"
    raise UnknownIdError(
        f"there is no sort {wanted!r} in {services.log.place}; recorded there: {listed}; give the "
        f"name or id of one, or set TALLYTARE_DATA_DIR to the folder of another store"
        f"{_demo_hint(services)}",
        sort=wanted,
    )


def _demo_hint(services: Services) -> str:
    """Return where the demo's sorts are, unless they are what was searched."""
    folder = demo_settings(services.settings).data_dir
    return f"; that of the demo is {folder}" if folder.is_dir() else ""


def write_report(
    services: Services,
    sort: SortInfo,
    form: str,
    output: Path | None,
    *,
    weights_from: str | None = None,
) -> None:
    """Write the report of a sort as html, json or csv to a file or to standard output."""
    scope = next((each for each in get_args(Scope) if each == weights_from), None)
    if form == "json":
        found = report_as_json(services, sort.id, weights_from=scope)
        text = json.dumps(found, ensure_ascii=False, indent=2) + "\n"
    elif form == "csv":
        text = report_as_csv(services, sort.id, weights_from=scope)
    else:
        text = _report_page(services, sort.id, scope)
    data = text.encode("utf-8")  # bytes: Windows would turn each \r\n of the CSV into \r\r\n
    if output is None:
        typer.echo(data, nl=False)
    else:
        output.write_bytes(data)


def write_export(services: Services, directory: Path) -> bool:
    """Write the log and all reports into a folder; return whether every report could be made."""
    with tqdm(unit="report", delay=PATIENCE_S, leave=False) as bar:

        def tell(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        result = export(services, directory, progress=tell)
    typer.echo(f"{len(result.files)} files in {directory}, {result.sorts} sorts.")
    for problem in result.failed:
        typer.echo(f"not made: {problem}", err=True)
    return not result.failed


def _report_page(services: Services, sort_id: str, weights_from: Scope | None) -> str:
    from service.reports.page import show_report

    return standalone_page(bytes(show_report(services, sort_id, weights_from).body))


def standalone_page(body: bytes) -> str:
    """Return a page with its styles inside and no links into the service."""
    page = body.decode("utf-8")
    static = files("service.web") / "static"

    def style(match: re.Match[str]) -> str:
        return f"<style>\n{(static / match.group(1)).read_text(encoding='utf-8')}</style>"

    bare = _LOCAL_LINK.sub("", _OTHER_PARTS.sub("", _STYLE.sub(style, page)))
    return bare.replace("</head>", _ONLY_IN_SERVICE, 1)
