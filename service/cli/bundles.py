"""`tallytare bundles`: which model answers, promote another, go back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated
from uuid import uuid4

import typer

from service.bundles import usecases as bundles
from service.bundles.usecases import BundlesView
from service.cli.settings import read_settings
from service.services import Services
from service.wiring import build_services

app = typer.Typer(
    help="Which model answers: list, promote, go back. A running service follows at once.",
    no_args_is_help=True,
)
Who = Annotated[str, typer.Option("--sorter", metavar="NAME", help="Who decided it, for the log.")]


@app.command("list")
def list_command() -> None:
    """Say which bundle answers, which could and which did."""
    with _services() as services:
        _say(bundles.list_bundles(services))


@app.command("promote")
def promote_command(
    bundle: Annotated[
        str,
        typer.Argument(
            help="Name of a shipped or installed bundle, or the folder of one.",
            show_default=False,
        ),
    ],
    sorter: Who = "",
) -> None:
    """Check a bundle, copy it into the data folder and have it answer from the next photo on.

    Exit code 0: it answers; 1: it can't be used, and what answered before goes on.
    """
    with _services() as services:
        view = bundles.promote(
            services, promotion_id=str(uuid4()), bundle=bundle, sorter=sorter, paths=True
        )
        typer.echo(f"{view.answering} answers from the next photo on ({view.promoted}).")


@app.command("rollback")
def rollback_command(sorter: Who = "") -> None:
    """Have the bundle answer that did before the last promotion; again goes further back."""
    with _services() as services:
        view = bundles.roll_back(services, promotion_id=str(uuid4()), sorter=sorter)
        typer.echo(f"{view.answering} answers from the next photo on.")


@contextmanager
def _services() -> Iterator[Services]:
    services = build_services(read_settings())
    try:
        yield services
    finally:
        services.inference.shutdown()
        services.close()


def _say(view: BundlesView) -> None:
    typer.echo(f"Answers: {view.answering or 'no model'}")
    if view.problem:
        typer.echo(f"Problem: {view.problem}")
    typer.echo("\nCan be promoted:")
    for each in view.bundles:
        mark = "*" if each.name == view.promoted else " "
        place = "ships" if each.shipped else "promoted here"
        typer.echo(f"{mark} {each.name}  ({each.title}, {place}) {each.problem}".rstrip())
    if view.history:
        typer.echo("\nChosen, the newest first:")
    for promotion in view.history:
        what = promotion.bundle or "the bundle of the settings"
        who = f"  by {promotion.sorter}" if promotion.sorter else ""
        typer.echo(f"  {promotion.at.astimezone():%Y-%m-%d %H:%M}  {what}{who}")
