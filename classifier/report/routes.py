"""Routes of a report: what can be recovered, what is discarded, what needs special collection."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from classifier.log.ledger import Ledger
from classifier.log.records import WITH_CONTENTS, Item
from classifier.report.allocation import (
    NO_ALLOCATION,
    Allocation,
    WeighedPile,
    allocate,
    route_counts,
    weighed_pile,
)
from classifier.report.lines import RouteKind, RouteLine, RoutePart
from classifier.report.shares import count_share
from classifier.rules.programme import Programme
from classifier.rules.programme_rules import RECOVERED, ROUTES, SPECIAL, UNDECIDED

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
    if route in (SPECIAL, WITH_CONTENTS):
        return "special"
    return "discarded" if route in ROUTES else "undecided"


def route_name(route: str) -> str:
    """Return the name of a route, its id if this version does not know it."""
    if route in ROUTES:
        return ROUTES[route].name
    return KIND_NAMES["undecided"] if route == UNDECIDED else route


def in_order(routes: Iterable[str]) -> list[str]:
    """Return routes in the order in which pages list them, those unknown to this version last."""
    order = {route: place for place, route in enumerate((*ROUTES, UNDECIDED))}
    return sorted(routes, key=lambda route: (order.get(route, len(order)), route))


def route_parts(
    category: str, items: Iterable[Item], programme: Programme
) -> tuple[RoutePart, ...]:
    """Return where the objects of a category go, by count.

    A pile that was weighed and not counted goes the one way that its rules allow, if one.
    """
    counts = route_counts(items) or {programme.only_route(category): 1}
    whole = sum(counts.values())
    return tuple(
        RoutePart(route, route_name(route), count_share(counts[route], whole))
        for route in in_order(counts)
    )


def weighed_piles(ledger: Ledger, programme: Programme) -> tuple[WeighedPile, ...]:
    """Return the measured piles of a sort with their objects by route."""
    found = (
        weighed_pile(pile, total.loose, uncounted=programme.only_route(total.category))
        for total in ledger.categories
        for pile in total.batches
    )
    return tuple(pile for pile in found if pile is not None)


def route_lines(ledger: Ledger, piles: Sequence[WeighedPile]) -> tuple[RouteLine, ...]:
    """Return a line for each route that an object or a weighed pile takes."""
    found = allocate(piles)
    seen = {item.route or UNDECIDED for item in ledger.items} | set(found)
    return tuple(
        _line(
            route,
            route_name(route),
            kind_of(route),
            ledger.items,
            found.get(route, NO_ALLOCATION),
            lambda item: item.route or UNDECIDED,
        )
        for route in in_order(seen)
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
