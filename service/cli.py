"""The `tallytare` command: reads arguments, leaves the work to `service.commands`.

Each command imports its module when it is called: `tallytare --help` must not wait for the model
or the web framework.
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path
from typing import Annotated, NoReturn

import typer
from pydantic import ValidationError

from classifier.domain.errors import TallytareError, UnknownIdError
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

Programme = Annotated[
    str,
    typer.Option(
        "--programme", metavar="ID", help="Programme: a shipped id, or a file ending in .toml."
    ),
]
Bundle = Annotated[
    str, typer.Option("--bundle", metavar="NAME", help="Model bundle: a shipped name or a folder.")
]


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
) -> None:
    """Say what photographs show and where each item goes; no sort and no store is needed.

    Exit code 0: all were read; 1: some were not, or the model is missing; 2: wrong arguments.
    """
    from service.commands.suggest import make_suggester, run_suggest

    settings = read_settings()
    try:
        suggester = make_suggester(
            settings, programme=programme, bundle=bundle, facts=_facts(fact or [])
        )
    except UnknownIdError as error:
        raise typer.BadParameter(error.message) from error
    failed = run_suggest(suggester, files, settings=settings, as_json=as_json)
    raise typer.Exit(1 if failed else 0)


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
    from service.commands.check import run_check

    well = run_check(read_settings(), programme_files=programme or [], bundle=bundle)
    raise typer.Exit(0 if well else 1)


@app.command("train", context_settings=_PASSED_ON)
def train_command(context: typer.Context) -> None:
    """Train a model bundle (needs the extra "train"; see tallytare train --help)."""
    _run_extra("train", context)


@app.command("evaluate", context_settings=_PASSED_ON)
def evaluate_command(context: typer.Context) -> None:
    """Measure a model bundle on labelled photographs (needs the extra "train")."""
    _run_extra("evaluate", context)


def read_settings() -> Settings:
    """Return the settings of the environment; a wrong one ends the command with exit code 2."""
    try:
        return Settings()
    except ValidationError as error:
        wrong = "; ".join(
            f"TALLYTARE_{str(each['loc'][0]).upper()}={each['input']!r}: {each['msg']}"
            for each in error.errors()
        )
        raise typer.BadParameter(f"{wrong}; set it right, or unset it") from error


def main() -> None:
    """Run the command line; what a person can mend is told in a sentence, without a trace."""
    # Pillow warns of damaged metadata, of which only the orientation is ever read.
    warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")
    try:
        app()
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
    from service.commands.extra import run_extra

    raise typer.Exit(run_extra(name, context.args))
