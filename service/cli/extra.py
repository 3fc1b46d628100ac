"""Commands that another installed part brings: training, which needs an extra.

Serving must run without torch, and `service` never imports `training`; so the commands are looked
up by name among the entry points of the installation, and only when one is called.
"""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable

import typer

from classifier.errors import TallytareError

GROUP = "tallytare.commands"
EXTRA = "train"
_PASSED_ON = {
    "allow_extra_args": True,
    "ignore_unknown_options": True,
    "help_option_names": [],
}
app = typer.Typer()


@app.command("train", context_settings=_PASSED_ON)
def train_command(context: typer.Context) -> None:
    """Train a model bundle (needs the extra "train")."""
    raise typer.Exit(_run("train", context.args))


@app.command("evaluate", context_settings=_PASSED_ON)
def evaluate_command(context: typer.Context) -> None:
    """Measure a model bundle on labelled photographs (needs the extra "train")."""
    raise typer.Exit(_run("evaluate", context.args))


class MissingExtraError(TallytareError):
    """A command whose packages are not installed."""

    code = "missing_extra"


def _run(name: str, arguments: list[str]) -> int:
    try:
        return _load(name)(arguments)
    except ModuleNotFoundError as error:
        raise MissingExtraError(
            f"'{name}' needs the package {error.name}, which isn't installed; install the extra "
            f"with: pip install 'tallytare[{EXTRA}]'",
            command=name,
            package=error.name,
        ) from error


def _load(name: str) -> Callable[[list[str]], int]:
    for entry in importlib.metadata.entry_points(group=GROUP, name=name):
        command: Callable[[list[str]], int] = entry.load()
        return command
    raise MissingExtraError(
        f"'{name}' isn't part of this installation; install it with: "
        f"pip install 'tallytare[{EXTRA}]'",
        command=name,
    )
