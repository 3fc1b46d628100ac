"""`tallytare bundles`: which model answers, promote another, go back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from uuid import uuid4

import typer

from service.bundles import usecases as bundles
from service.bundles.usecases import BundlesView
from service.services import Services
from service.settings import Settings
from service.wiring import build_services


def run_list(settings: Settings) -> None:
    """Write which bundle answers, what could be promoted and what was."""
    with _open(settings) as services:
        _tell(bundles.list_bundles(services))


def run_promote(settings: Settings, wanted: str, sorter: str) -> None:
    """Promote a bundle by name or folder."""
    with _open(settings) as services:
        view = bundles.promote(
            services, promotion_id=str(uuid4()), bundle=wanted, sorter=sorter, paths=True
        )
        typer.echo(f"{view.answering} answers from the next photo on ({view.promoted}).")


def run_rollback(settings: Settings, sorter: str) -> None:
    """Go back to the bundle before."""
    with _open(settings) as services:
        view = bundles.roll_back(services, promotion_id=str(uuid4()), sorter=sorter)
        typer.echo(f"{view.answering} answers from the next photo on.")


@contextmanager
def _open(settings: Settings) -> Iterator[Services]:
    services = build_services(settings)
    try:
        yield services
    finally:
        services.inference.shutdown()
        services.close()


def _tell(view: BundlesView) -> None:
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
