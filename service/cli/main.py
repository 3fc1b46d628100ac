"""The `tallytare` command: reads arguments, leaves the work to the modules beside it.

Each command imports its module when it is called: `tallytare --help` must not wait for the model
or the web framework.
"""

from __future__ import annotations

import sys
import warnings
from enum import StrEnum
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from classifier.errors import TallytareError, UnknownIdError
from service.cli.bundles_commands import bundles_app
from service.cli.examples import examples_app
from service.cli.guide import guide_command
from service.cli.settings import read_settings
from service.cli.sheet_commands import sheet_app
from service.cli.store_commands import add_store_commands
from service.settings import Settings

app = typer.Typer(
    name="tallytare",
    help="Sort discards by hand, count and weigh them, and explain the result. Works offline.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
_PASSED_ON = {
    "allow_extra_args": True,
    "ignore_unknown_options": True,
    "help_option_names": [],
}


add_store_commands(app)


class ReportFormat(StrEnum):
    """The forms in which the same figures are given."""

    HTML = "html"
    JSON = "json"
    CSV = "csv"


class WeightsFrom(StrEnum):
    """Over which sorts mean item weights are pooled; left out: the study, outside one the sort."""

    SORT = "sort"
    STUDY = "study"
    STORE = "store"


Host = Annotated[
    str, typer.Option("--host", metavar="HOST", help="Address to listen on (TALLYTARE_HOST).")
]
Port = Annotated[
    int | None, typer.Option("--port", help="Port to listen on; 0 picks one.", show_default=False)
]
Open = Annotated[bool, typer.Option("--open/--no-open", help="Open the page in the browser.")]
Programme = Annotated[
    str,
    typer.Option(
        "--programme", metavar="ID", help="Programme: a shipped id, or a file ending in .toml."
    ),
]
Bundle = Annotated[
    str, typer.Option("--bundle", metavar="NAME", help="Model bundle: a shipped name or a folder.")
]


@app.command("demo")
def demo_command(
    serve: Annotated[
        bool, typer.Option("--serve/--no-serve", help="Then serve the demo's pages.")
    ] = True,
    host: Host = "",
    port: Port = None,
    open_browser: Open = True,
    bundle: Bundle = "",
    study: Annotated[
        bool, typer.Option("--study", help="Instead, record an invented study of 60 households.")
    ] = False,
) -> None:
    """Record a whole demo sort with the demo pictures, then serve it in the browser.

    It lives in a store of its own, in the folder "demo" of the data folder.
    """
    from service.cli.demo import demo_settings, make_demo_sort
    from service.wiring import build_services

    settings = demo_settings(_serving(host, port, bundle))
    services = build_services(settings)
    try:
        if study:
            from service.cli.demo_study import demo_study_page

            page = demo_study_page(services)
        else:
            page = f"/sorts/{make_demo_sort(services).id}/report"
        if serve:
            from service.cli.serve import run_server

            run_server(settings, services=services, path=page, open_browser=open_browser)
    finally:
        services.close()


@app.command("serve")
def serve_command(
    host: Host = "",
    port: Port = None,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let phones on this network join, with a QR code.")
    ] = False,
    https: Annotated[
        bool, typer.Option("--https", help="HTTPS for them, with a certificate made here.")
    ] = False,
    open_browser: Open = False,
    bundle: Bundle = "",
) -> None:
    """Serve the pages: start a sort, photograph, weigh, report. Stop with Ctrl+C."""
    from service.cli.serve import Reach, run_server

    reach = Reach(lan=lan, https=https)
    run_server(_serving(host, port, bundle), open_browser=open_browser, reach=reach)


@app.command("report")
def report_command(
    sort: Annotated[str, typer.Argument(help="Name or id of the sort, or how the id begins.")],
    form: Annotated[
        ReportFormat, typer.Option("--format", help="A page that stands alone, JSON, or tidy CSV.")
    ] = ReportFormat.HTML,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", metavar="FILE", help="File to write to.")
    ] = None,
    weights_from: Annotated[
        WeightsFrom | None,
        typer.Option(help="Mean item weights from this sort, its study, or the whole store."),
    ] = None,
) -> None:
    """Write the report of one sort, to standard output or to a file."""
    from service.cli.report import find_sort, opened, write_report

    with opened(read_settings()) as services:
        found = find_sort(services, sort)
        write_report(services, found, form.value, output, weights_from=weights_from)


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
    from service.cli.report import opened
    from service.cli.study import plan_for, run_study

    if not (name or sorts):
        raise typer.BadParameter("nothing to report: give the name of a study, or --sorts")
    with opened(read_settings()) as services:
        run_study(
            services,
            name=name,
            sorts=sorts or [],
            plan=plan_for(services, plan, level),
            json_file=json_file,
            directory=directory,
        )


@app.command("export")
def export_command(
    directory: Annotated[Path, typer.Argument(help="Folder to write to; made if need be.")],
) -> None:
    """Write the whole log and every report to a folder, as CSV and JSON.

    Exit code 0: all was written; 1: something could not be, and is named.
    """
    from service.cli.report import opened, write_export

    with opened(read_settings()) as services:
        whole = write_export(services, directory)
    raise typer.Exit(0 if whole else 1)


@app.command("suggest")
def suggest_command(
    files: Annotated[
        list[Path], typer.Argument(help="Photographs, or folders of them.", show_default=False)
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line, for other programs.")
    ] = False,
    programme: Programme = "",
    bundle: Bundle = "",
    fact: Annotated[
        list[str] | None,
        typer.Option(
            "--fact",
            metavar="ID=ANSWER",
            help="Something known about every item, as resin=1; may be given several times.",
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="Append to a file: CSV if it ends in .csv, else one JSON object a line. What it "
            "holds already is not looked at again, so a stopped run goes on.",
        ),
    ] = None,
    fast: Annotated[
        bool,
        typer.Option(
            "--fast", help="Take the small model: several times faster, less often right."
        ),
    ] = False,
) -> None:
    """Say what photographs show and where each item goes; no sort and no store is needed.

    Exit code 0: all were read; 1: some were not, or the model is missing; 2: wrong arguments.
    """
    from classifier.inference.bundle import FAST_BUNDLE
    from service.cli.suggest import make_suggester, run_suggest

    if fast and bundle:
        raise typer.BadParameter(f"--fast means --bundle {FAST_BUNDLE}; leave out one of them")
    settings = read_settings()
    try:
        suggester = make_suggester(
            settings,
            programme=programme,
            bundle=FAST_BUNDLE if fast else bundle,
            facts=_facts(fact or []),
        )
    except UnknownIdError as error:
        raise typer.BadParameter(error.message) from error
    failed = run_suggest(suggester, files, settings=settings, as_json=as_json, output=output)
    raise typer.Exit(1 if failed else 0)


app.command("guide")(guide_command)


@app.command("plan")
def plan_command(
    pilot: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="PILOT.csv",
            help="CSV reports of your first sorts, masses.csv of a study, or columns sample, "
            "category and one of share, percent, value, weight. Left out: the table of ASTM D5231.",
            show_default=False,
        ),
    ] = None,
    precision: Annotated[
        float | None,
        typer.Option(metavar="PERCENT", help="Wanted ±, in per cent of each mean; else 10."),
    ] = None,
    points: Annotated[
        float | None,
        typer.Option(metavar="POINTS", help="Wanted ± in percentage points instead, such as 2."),
    ] = None,
    level: Annotated[
        float, typer.Option("--level", metavar="PERCENT", help="Confidence, as 90 or 95.")
    ] = 90.0,
    category: Annotated[
        list[str] | None,
        typer.Option(
            "--category", metavar="NAME", help="Plan for this one only; may be given several times."
        ),
    ] = None,
    curve: Annotated[
        bool, typer.Option("--curve", help="Also show what precision other numbers would give.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """Say how many sorting samples a study needs, and which category decides.

    Exit code 0: planned; 1: the pilot can't be used; 2: wrong arguments.
    """
    from service.cli.plan import run_plan, target_of

    run_plan(
        pilot or [],
        target=target_of(precision, points, level),
        only=category or [],
        curve=curve,
        as_json=as_json,
    )


@app.command("check")
def check_command(
    programme: Annotated[
        list[Path] | None,
        typer.Option("--programme", metavar="FILE", help="A programme file to check as well."),
    ] = None,
    bundle: Bundle = "",
) -> None:
    """Check the categories, programmes, model bundles and the store; say what to mend.

    Exit code 0: all is well; 1: something must be mended; 2: wrong arguments.
    """
    from service.cli.check import run_check

    well = run_check(read_settings(), programme_files=programme or [], bundle=bundle)
    raise typer.Exit(0 if well else 1)


app.add_typer(bundles_app(read_settings), name="bundles")
app.add_typer(examples_app, name="examples")
app.add_typer(sheet_app(read_settings), name="sheet")


@app.command("train", context_settings=_PASSED_ON)
def train_command(context: typer.Context) -> None:
    """Train a model bundle (needs the extra "train"; see tallytare train --help)."""
    _run_extra("train", context)


@app.command("evaluate", context_settings=_PASSED_ON)
def evaluate_command(context: typer.Context) -> None:
    """Measure a model bundle on labelled photographs (needs the extra "train")."""
    _run_extra("evaluate", context)


def _serving(host: str, port: int | None, bundle: str) -> Settings:
    given = {"host": host or None, "port": port, "bundle": bundle or None}
    return read_settings(**{key: value for key, value in given.items() if value is not None})


def main() -> None:
    """Run the command line; what a person can mend is told in a sentence, without a trace."""
    # Pillow warns of damaged metadata, which we don't read, and of sizes that we refuse ourselves.
    warnings.filterwarnings("ignore", module=r"PIL\.")
    try:
        app(prog_name="tallytare")
    except TallytareError as error:
        _fail(error.message)
    except OSError as error:
        _fail(f"{error.filename or 'the disk'}: {error.strerror or error}; check it and try again")


def _fail(message: str) -> NoReturn:
    typer.echo(f"tallytare: {message}", err=True)
    sys.exit(1)


def _facts(given: list[str]) -> dict[str, str]:
    facts = {}
    for text in given:
        name, equals, answer = text.partition("=")
        if not (name and equals and answer):
            raise typer.BadParameter(
                f"--fact {text!r} is no fact; allowed: ID=ANSWER, such as resin=1; give it so"
            )
        facts[name] = answer
    return facts


def _run_extra(name: str, context: typer.Context) -> None:
    from service.cli.extra import run_extra

    raise typer.Exit(run_extra(name, context.args))
