"""The list of categories, each with the routes that a programme gives it."""

from __future__ import annotations

from dataclasses import dataclass

from classifier.rules.category_parts import Category, Caution, Fact, Group
from classifier.rules.programme import Programme
from classifier.rules.search import search
from classifier.rules.suggestion import suggestion_for_category
from classifier.rules.suggestion_parts import RouteAnswer
from service.services import Services


@dataclass(frozen=True, slots=True)
class GuideLine:
    """A category with its cautions; under a programme also every route it can take.

    `cautions` belong to every item of it, `handling` to the pile.
    """

    category: Category
    group: Group
    cautions: tuple[Caution, ...]
    handling: tuple[Caution, ...]
    routes: tuple[RouteAnswer, ...]


@dataclass(frozen=True, slots=True)
class Guide:
    """The list of categories; `programme` is None when no rules were asked for."""

    version: str
    groups: tuple[Group, ...]
    programme: Programme | None
    lines: tuple[GuideLine, ...]
    facts: tuple[Fact, ...]


def list_programmes(services: Services) -> tuple[Programme, ...]:
    """Return the programmes that a sort can be started under, by name."""
    return tuple(sorted(services.programmes.values(), key=lambda each: each.name))


def list_categories(
    services: Services, *, programme_id: str | None = None, word: str = ""
) -> Guide:
    """Return all categories; with a programme, each with every route it can take.

    With a word, only those that it may mean, the likeliest first.

    Raises UnknownIdError when there is no such programme.
    """
    programme = None if programme_id is None else services.programme(programme_id)
    groups = {group.id: group for group in services.categories.groups}
    lines = tuple(
        GuideLine(
            category=category,
            group=groups[category.group],
            cautions=services.categories.cautions_of(category),
            handling=services.categories.handling_of(category),
            routes=() if programme is None else _routes(services, programme, category.id),
        )
        for category in _wanted(services, word)
    )
    return Guide(
        version=services.categories.version,
        groups=services.categories.groups,
        programme=programme,
        lines=lines,
        facts=services.categories.facts,
    )


def _wanted(services: Services, word: str) -> tuple[Category, ...]:
    if not word.strip():
        return services.categories.categories
    return tuple(each.category for each in search(word, services.categories))


def _routes(services: Services, programme: Programme, category_id: str) -> tuple[RouteAnswer, ...]:
    suggestion = suggestion_for_category(category_id, services.categories, programme)
    return suggestion.alternatives[0].routes
