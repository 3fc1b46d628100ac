"""Routes of a report: what can be recovered, what is discarded, what needs special collection."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from classifier.errors import UnknownIdError
from classifier.log.ledger import Item, Ledger
from classifier.report.allocation import (
    NO_ALLOCATION,
    Allocation,
    WeighedPile,
    allocate,
    weighed_pile,
)
from classifier.report.lines import RouteKind, RouteLine
from classifier.report.shares import count_share
from classifier.rules.programme import RECOVERED, ROUTES, SPECIAL, Programme

UNDECIDED = "undecided"
KIND_NAMES: Mapping[RouteKind, str] = {
    "recovered": "Can be recovered",
    "special": "Special collection",
    "discarded": "Discarded",
    "undecided": "Not decided",
}


def kind_of(route: str) -> RouteKind:
    """Return the heading of a route; a route this version doesn't know counts as undecided."""
    if route in RECOVERED:
        return "recovered"
    if route == SPECIAL:
        return "special"
    return "discarded" if route in ROUTES else "undecided"


def weighed_piles(ledger: Ledger, programme: Programme) -> tuple[WeighedPile, ...]:
    """Return the measured piles of a sort with their objects by route."""
    found = []
    for total in ledger.categories:
        way = _way_of_uncounted(programme, total.category)
        for pile in total.batches:
            weighed = weighed_pile(pile, total.loose, undecided=UNDECIDED, uncounted=way)
            if weighed is not None:
                found.append(weighed)
    return tuple(found)


def _way_of_uncounted(programme: Programme, category: str) -> str:
    """Return where a pile of nothing counted goes: the one route its rules allow, if one."""
    try:
        routes = {rule.route for rule in programme.routes_for(category, {})}
    except UnknownIdError:
        return UNDECIDED
    return routes.pop() if len(routes) == 1 else UNDECIDED


def route_lines(ledger: Ledger, piles: Sequence[WeighedPile]) -> tuple[RouteLine, ...]:
    """Return a line for each route that an object or a weighed pile takes."""
    found = allocate(piles)
    order = [*ROUTES, UNDECIDED]
    seen = {item.route or UNDECIDED for item in ledger.items} | set(found)
    extra = sorted(seen - set(order))
    return tuple(
        _line(
            route,
            _route_name(route),
            kind_of(route),
            ledger.items,
            found.get(route, NO_ALLOCATION),
            lambda item: item.route or UNDECIDED,
        )
        for route in [*order, *extra]
        if route in seen
    )


def kind_lines(ledger: Ledger, piles: Sequence[WeighedPile]) -> tuple[RouteLine, ...]:
    """Return all four headings, also where nothing falls under one."""
    found = allocate(piles, kind_of)
    return tuple(
        _line(
            kind,
            name,
            kind,
            ledger.items,
            found.get(kind, NO_ALLOCATION),
            lambda item: kind_of(item.route or UNDECIDED),
        )
        for kind, name in KIND_NAMES.items()
    )


def _route_name(route: str) -> str:
    if route in ROUTES:
        return ROUTES[route].name
    return KIND_NAMES["undecided"] if route == UNDECIDED else route


def _line(
    key: str,
    name: str,
    kind: RouteKind,
    items: Sequence[Item],
    weight: Allocation,
    way: Callable[[Item], str],
) -> RouteLine:
    own = [item for item in items if way(item) == key]
    count = sum(item.count for item in own)
    return RouteLine(
        route=key,
        name=name,
        kind=kind,
        items=len(own),
        count=count,
        measured=weight.measured,
        split_g=weight.split_g,
        estimated_split=weight.split_g > 0,
        share_weight=weight.share,
        share_count=count_share(count, sum(item.count for item in items)),
    )
