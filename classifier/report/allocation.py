"""The weight of piles by route, with the measured and the estimated part kept apart.

A scale weighs a pile, not a route. Where all objects of a pile go one way its whole weight is
measured for that route. Where they go different ways the weight is split in proportion to the
counts, which is an estimate: objects of one category need not weigh the same. Each route therefore
gets a measured mass, a split mass, and a share whose bounds hold however the mixed piles divide.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from classifier.log.piles import BatchTotal
from classifier.log.quantities import ZERO_MASS, Mass, sum_masses
from classifier.log.records import Item
from classifier.report.shares import Range, share_of, subtract
from classifier.rules.programme_rules import UNDECIDED


@dataclass(frozen=True, slots=True)
class WeighedPile:
    """A measured pile and the objects that decide where its weight goes.

    `counts` maps a route to the number of objects that go there; it is never empty.
    """

    mass: Mass
    counts: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class Allocation:
    """What goes one way.

    `measured` is the mass of piles that go this way whole; `split_g` is this way's part of mixed
    piles by counts, an estimate without bounds of its own. `share` is of the measured total, its
    value with the split and its bounds without trusting it; `None` if nothing was measured.
    """

    key: str
    measured: Mass
    split_g: Decimal
    share: Range | None


def route_counts(items: Iterable[Item]) -> dict[str, int]:
    """Return objects by route; an item without a route counts as `UNDECIDED`."""
    counts: dict[str, int] = defaultdict(int)
    for item in items:
        counts[item.route or UNDECIDED] += item.count
    return dict(counts)


def weighed_pile(pile: BatchTotal, loose: Sequence[Item], *, uncounted: str) -> WeighedPile | None:
    """Return a measured pile with its objects by route, `None` if it has no measured weight.

    A pile without objects of its own is taken to hold a mixture like the category's loose objects;
    with none of those either (weighed, never counted) it goes the way `uncounted`.
    """
    if pile.mass is None:
        return None
    counts = route_counts(pile.items or loose)
    return WeighedPile(pile.mass, counts or {uncounted: 1})


def allocate(
    piles: Sequence[WeighedPile], way: Callable[[str], str] = lambda route: route
) -> dict[str, Allocation]:
    """Return the weight of all piles by way, where `way` maps a route to a wider heading.

    A pile whose routes all fall under one heading is measured under that heading, so headings are
    worked out from the piles and not from the routes' figures.
    """
    merged = [WeighedPile(pile.mass, _merge(pile.counts, way)) for pile in piles]
    total = sum_masses(tuple(pile.mass for pile in merged))
    keys = sorted({key for pile in merged for key in pile.counts})
    return {key: _one_way(key, merged, total) for key in keys}


def _merge(counts: Mapping[str, int], way: Callable[[str], str]) -> dict[str, int]:
    merged: dict[str, int] = defaultdict(int)
    for route, count in counts.items():
        merged[way(route)] += count
    return dict(merged)


def _one_way(key: str, piles: Sequence[WeighedPile], total: Mass) -> Allocation:
    whole = [pile for pile in piles if set(pile.counts) == {key}]
    mixed = [pile for pile in piles if key in pile.counts and len(pile.counts) > 1]
    measured = sum_masses(tuple(pile.mass for pile in whole))
    possible = sum_masses(tuple(pile.mass for pile in mixed))
    split_g = sum((_by_count(pile, key) for pile in mixed), Decimal(0))
    return Allocation(key, measured, split_g, _share(measured, possible, split_g, total))


def _by_count(pile: WeighedPile, key: str) -> Decimal:
    return pile.mass.value_g * pile.counts[key] / sum(pile.counts.values())


def _share(measured: Mass, possible: Mass, split_g: Decimal, total: Mass) -> Range | None:
    """Bound the share: at least without any of the mixed piles, at most with all of them."""
    least = share_of(measured, subtract(total, measured))
    most = share_of(measured + possible, subtract(subtract(total, measured), possible))
    if least is None or most is None:
        return None
    value = (measured.value_g + split_g) / total.value_g
    return Range(value, least.low, most.high)


NO_ALLOCATION = Allocation("", ZERO_MASS, Decimal(0), None)
