"""Views that pages need beyond what the use cases hand out: pickers, programmes, key lists."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from classifier.log.records import WITH_CONTENTS
from classifier.rules.category_parts import Categories, Category, Caution
from classifier.rules.programme import Programme
from classifier.rules.programme_rules import ROUTES, Rule


@dataclass(frozen=True, slots=True)
class RouteWay:
    """One way a category can go under a programme, with the answers that lead there."""

    route: str
    name: str
    conditions: tuple[str, ...]
    notes: tuple[str, ...]
    when: tuple[str, ...]


def _distinct(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(word for word in words if word))


def _when(rule: Rule, categories: Categories) -> str:
    return " and ".join(
        f"{categories.fact(fact).name}: {categories.fact(fact).answer(answer).label}"
        for fact, answer in sorted(rule.when.items())
    )


def ways(category: Category, programme: Programme, categories: Categories) -> tuple[RouteWay, ...]:
    """Return all the ways that a category can go, the order being that of the routes."""
    rules = programme.rules_of(category.id).rules
    found = []
    for route_id, route in ROUTES.items():
        own = [rule for rule in rules if rule.route == route_id]
        if own:
            found.append(
                RouteWay(
                    route=route_id,
                    name=route.name,
                    conditions=_distinct(rule.condition for rule in own),
                    notes=_distinct(rule.note for rule in own),
                    when=_distinct(_when(rule, categories) for rule in own),
                )
            )
    return tuple(found)


def picker_groups(categories: Categories, programme: Programme) -> list[dict[str, Any]]:
    """Return groups of categories as the sorting page's list needs them, routes resolved.

    The page keeps this, so that a pile can be named with its route while the server is away.
    """
    return [
        {
            "id": group.id,
            "name": group.name,
            "categories": [
                _picker_entry(each, categories, programme) for each in categories.in_group(group.id)
            ],
        }
        for group in categories.groups
    ]


def _picker_entry(
    category: Category, categories: Categories, programme: Programme
) -> dict[str, Any]:
    routes = [
        {
            "id": way.route,
            "name": way.name,
            "condition": "; ".join(way.conditions),
            "note": " ".join(way.notes),
        }
        for way in ways(category, programme, categories)
    ]
    return {
        "id": category.id,
        "name": category.name,
        "group": category.group,
        "stop": category.stop,
        "words": list(category.words),
        "belongs": list(category.belongs),
        "cautions": _cautions(categories.cautions_of(category)),
        "handling": _cautions(categories.handling_of(category)),
        "routes": [route for route in routes if route["id"] != WITH_CONTENTS],
        "left": next((route for route in routes if route["id"] == WITH_CONTENTS), None),
    }


def _cautions(cautions: Iterable[Caution]) -> list[dict[str, str]]:
    return [{"id": each.id, "text": each.text} for each in cautions]


def fact_list(categories: Categories) -> list[dict[str, Any]]:
    """Return the facts with their answers' labels."""
    return [
        {
            "id": fact.id,
            "question": fact.question,
            "hazard": bool(categories.asked_by(fact.id)),
            "how": fact.how,
            "answers": [{"id": each.id, "label": each.label} for each in fact.answers],
        }
        for fact in categories.facts
    ]


def programme_data(programme: Programme) -> dict[str, str]:
    """Return what must stand beside a route."""
    return {
        "id": programme.id,
        "name": programme.name,
        "version": programme.version,
        "valid_from": programme.valid_from.isoformat(),
        "statement": programme.statement,
    }


@dataclass(frozen=True, slots=True)
class Difference:
    """A category that goes different ways under the programmes offered."""

    name: str
    ways: tuple[tuple[str, ...], ...]


def programme_differences(
    categories: Categories, programmes: Sequence[Programme]
) -> tuple[Difference, ...]:
    """Return the categories for which it matters which programme is chosen."""
    found = []
    for category in categories.categories:
        routes = tuple(
            tuple(
                way.name
                for way in ways(category, programme, categories)
                if way.route != WITH_CONTENTS
            )
            for programme in programmes
        )
        if len(set(routes)) > 1:
            found.append(Difference(category.name, routes))
    return tuple(found)
