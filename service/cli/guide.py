"""`tallytare guide`: on which pile a thing belongs that somebody can name."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Annotated, Any

import typer

from classifier.errors import UnknownIdError
from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories, Category, Caution
from classifier.rules.programme import Programme
from classifier.rules.programme_rules import ROUTES, Route
from classifier.rules.search import ASKED_FIRST, cautions_for, search
from service.cli.settings import read_settings
from service.loading import choose_programme

app = typer.Typer()
LISTED = 5
"""Categories that are named for one word."""


@app.command("guide")
def guide_command(
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="WORD...",
            help="What it is called; several words that belong together in quotes.",
            show_default=False,
        ),
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object a line and word, for other programs.")
    ] = False,
    programme: Annotated[
        str,
        typer.Option(
            "--programme", metavar="ID", help="Also say where it goes: a shipped id, or a file."
        ),
    ] = "",
) -> None:
    """Say on which pile a thing belongs, hazards first. Misspelt words are understood.

    Exit code 0, also where nothing is called that; 2: wrong arguments.
    """

    categories = load_categories()
    try:
        chosen = choose_programme(read_settings(), categories, programme) if programme else None
    except UnknownIdError as error:
        raise typer.BadParameter(error.message) from error
    for word in words:
        found, cautions = _look_up(word, categories)
        if as_json:
            typer.echo(json.dumps(_as_json(word, found, cautions, chosen)))
        else:
            typer.echo(_as_text(word, found, cautions, chosen))
    if chosen is not None and not as_json:
        typer.echo(chosen.statement)


def _look_up(word: str, categories: Categories) -> tuple[tuple[Category, ...], tuple[Caution, ...]]:

    found = search(word, categories)[:LISTED]
    return tuple(each.category for each in found), cautions_for(found, categories)


def _route(category: Category, programme: Programme | None) -> Route | None:
    """Return where a category goes, None while that hangs on a fact or without a programme."""

    if programme is None:
        return None
    routes = {rule.route for rule in programme.routes_for(category.id, {})}
    return ROUTES[routes.pop()] if len(routes) == 1 else None


def _as_json(
    word: str,
    found: Sequence[Category],
    cautions: Sequence[Caution],
    programme: Programme | None,
) -> dict[str, Any]:
    entries = []
    for category in found:
        route = _route(category, programme)
        shown = None if route is None else {"id": route.id, "name": route.name}
        entries.append({"id": category.id, "name": category.name, "route": shown})
    return {
        "word": word,
        "categories": entries,
        "cautions": [{"id": each.id, "text": each.text} for each in cautions],
    }


def _as_text(
    word: str,
    found: Sequence[Category],
    cautions: Sequence[Caution],
    programme: Programme | None,
) -> str:

    lines = [f"{word}:"]
    lines += [f"  {each.text}" for each in cautions]
    for category in found:
        route = _route(category, programme)
        way = route.name if route else "it depends: see the guide" if programme else ""
        aside = " (set aside)" if category.stop else ""
        lines.append(f"  {category.name}{aside}{': ' if way else ''}{way}")
    if not found:
        lines.append(f"  {ASKED_FIRST}")
    return "\n".join(lines)
