"""The `tallytare` command: one row a command, each loaded when it is called.

`tallytare --help` must not wait for the model or the web framework, so what it shows stands here;
arguments and bodies stand in the modules that the rows name.
"""

from __future__ import annotations

import importlib
import sys
import warnings
from importlib.metadata import version
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperCommand, TyperGroup
from typer.main import get_group

from classifier.errors import TallytareError

COMMANDS = {
    "demo": (
        "demo",
        "Record a whole demo sort with the demo pictures, then serve it in the browser.",
    ),
    "serve": (
        "serve",
        "Serve the pages: start a sort, photograph, weigh, report. Stop with Ctrl+C.",
    ),
    "suggest": (
        "suggest",
        "Say what photographs show and where each item goes; no sort and no store is needed.",
    ),
    "bundles": (
        "bundles",
        "Which model answers: list, promote, go back. A running service follows at once.",
    ),
    "report": ("report", "Write the report of one sort, to standard output or to a file."),
    "study": (
        "study",
        "Report many sorts as one study: shares, rates and differences with intervals.",
    ),
    "sheet": ("sheet", "Paper first: print a field sheet, fill it at the table, import it later."),
    "examples": (
        "examples",
        "Confirmed photos as a set to train on: export, import, doubts, agreement, withdraw.",
    ),
    "export": ("report", "Write the whole log and every report to a folder, as CSV and JSON."),
    "guide": (
        "guide",
        "Say on which pile a thing belongs, hazards first. Misspelt words are understood.",
    ),
    "plan": ("plan", "Say how many sorting samples a study needs, and which category decides."),
    "check": (
        "check",
        "Check the categories, programmes, model bundles and the store; say what to fix.",
    ),
    "backup": (
        "keep",
        "Write the whole store, with its photos, to one file; the service may go on meanwhile.",
    ),
    "restore": (
        "keep",
        "Bring a backup into the store: SQLite or PostgreSQL, whichever it was made from.",
    ),
    "move": (
        "keep",
        "Copy a SQLite store with its photos to another database and prove the totals equal.",
    ),
    "train": ("extra", 'Train a model bundle (needs the extra "train").'),
    "evaluate": (
        "extra",
        'Measure a model bundle on labelled photographs (needs the extra "train").',
    ),
}
"""Name of each command: its module, and the line that the list of commands shows."""


def load_command(name: str) -> TyperCommand | TyperGroup:
    """Import the module of a command and return what it defines under that name.

    A module that is a group of commands, such as `sheet`, is the command itself.
    """
    group = get_group(importlib.import_module(f"service.cli.{COMMANDS[name][0]}").app)
    found: TyperCommand | TyperGroup = getattr(group, "commands").get(name, group)  # noqa: B009
    return found


class LazyGroup(TyperGroup):
    """Lists commands from their rows and loads only the one that runs."""

    def list_commands(self, ctx: Any) -> list[str]:  # noqa: ARG002
        """Return the names in the order of the rows."""
        return [*COMMANDS]

    def get_command(self, ctx: Any, cmd_name: str) -> TyperCommand | None:  # noqa: ARG002
        """Return what the list shows of a command."""
        row = COMMANDS.get(cmd_name)
        return None if row is None else TyperCommand(cmd_name, help=row[1])

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Return the command that was typed, loaded."""
        name, _, rest = super().resolve_command(ctx, args)
        return name, load_command(str(name)), rest


app = typer.Typer(
    name="tallytare",
    cls=LazyGroup,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"tallytare {version('tallytare')}")
        raise typer.Exit


@app.callback()
def start(
    _version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version and stop."
        ),
    ] = False,
) -> None:
    """Sort discards by hand, count and weigh them, and explain the result. Works offline."""


def main() -> None:
    """Run the command line; what a person can fix is said in a sentence, without a trace."""
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


if __name__ == "__main__":
    main()
