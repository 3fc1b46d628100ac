"""Piles of one category and their weights: the weighing part of the ledger.

Readings of one load are repeats of one quantity and are averaged. Loads are parts of the pile and
are added, bounds too: the worst case, as for sums of piles (`quantities.sum_masses`).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from classifier.errors import UnknownIdError
from classifier.log.quantities import Mass, sum_masses
from classifier.log.records import Batch, Item, Weighing, WeighingVoid
from classifier.log.weighing import net_mass

WeighedState = Literal["measured", "below_resolution", "not_weighed"]

_ZERO = Decimal(0)


@dataclass(frozen=True, slots=True)
class LoadTotal:
    """One bucketful of a pile, in grams: the mean of its readings, or the bound of a light one.

    Either `mass` or `below_g` is `None`. `spread_g` is the largest minus the smallest net of
    several readings; `spread_explained` is false where their resolution bounds do not meet, so that
    something else changed between them.
    """

    load: int
    weighings: tuple[Weighing, ...]
    mass: Mass | None
    below_g: Decimal | None
    spread_g: Decimal | None
    spread_explained: bool


@dataclass(frozen=True, slots=True)
class BatchTotal:
    """A pile: what was counted into it and what it weighs, the sum of its loads.

    `mass` is `None` unless `state` is "measured"; `below_g` is the upper bound of a pile too light
    for its scale, else `None`. A load too light for the scale beside measured ones adds 0 to their
    value and its bound to `mass.high_g`. `spread_g` and `spread_explained` are those of the worst
    load. `count_after` counts objects recorded after the last weighing, which the weight may
    therefore lack.
    """

    batch: Batch
    items: tuple[Item, ...]
    count: int
    state: WeighedState
    mass: Mass | None
    below_g: Decimal | None
    weighings: tuple[Weighing, ...]
    loads: tuple[LoadTotal, ...]
    spread_g: Decimal | None
    spread_explained: bool
    contents_left: bool
    count_after: int


def live_weighings(
    weighings: dict[str, Weighing], voids: dict[str, WeighingVoid], piles: Mapping[str, Batch]
) -> tuple[dict[str, list[Weighing]], tuple[Weighing, ...]]:
    """Return the weighings that stand, by pile and in order, and those taken back."""
    for weighing in weighings.values():
        if weighing.batch_id not in piles:
            raise UnknownIdError(
                f"weighing {weighing.id} names batch {weighing.batch_id}, which is not in this "
                "sort",
                id=weighing.batch_id,
            )
    for void in voids.values():
        if void.weighing_id not in weighings:
            raise UnknownIdError(
                f"void {void.id} names weighing {void.weighing_id}, which is not in this sort",
                id=void.weighing_id,
            )
    voided_ids = {void.weighing_id for void in voids.values()}
    live: dict[str, list[Weighing]] = defaultdict(list)
    dead = []
    for weighing in sorted(weighings.values(), key=lambda row: (row.at, row.id)):
        if weighing.id in voided_ids:
            dead.append(weighing)
        else:
            live[weighing.batch_id].append(weighing)
    return live, tuple(dead)


def batch_total(pile: Batch, items: Sequence[Item], weighings: Sequence[Weighing]) -> BatchTotal:
    """Return one pile with its count and weight."""
    loads = _loads(weighings)
    read = [load.mass for load in loads if load.mass is not None]
    bounds = [load.below_g for load in loads if load.below_g is not None]
    light = [Mass(_ZERO, _ZERO, bound) for bound in bounds]
    last = weighings[-1].at if weighings else None
    state: WeighedState = "measured" if read else "below_resolution" if light else "not_weighed"
    return BatchTotal(
        batch=pile,
        items=tuple(items),
        count=sum(item.count for item in items),
        state=state,
        mass=sum_masses([*read, *light]) if read else None,
        below_g=sum(bounds, _ZERO) if state == "below_resolution" else None,
        weighings=tuple(weighings),
        loads=loads,
        spread_g=_worst_spread(loads),
        spread_explained=all(load.spread_explained for load in loads),
        contents_left=any(row.contents_left for row in weighings),
        count_after=sum(item.count for item in items if last is not None and item.at > last),
    )


def _loads(weighings: Sequence[Weighing]) -> tuple[LoadTotal, ...]:
    """Return the loads in order of their number."""
    of: dict[int, list[Weighing]] = defaultdict(list)
    for weighing in weighings:
        of[weighing.load].append(weighing)
    return tuple(_load(number, rows) for number, rows in sorted(of.items()))


def _load(number: int, weighings: Sequence[Weighing]) -> LoadTotal:
    """Return one load; a reading beats "below resolution"."""
    read = [net_mass(row) for row in weighings if row.method != "below_resolution"]
    unread = [net_mass(row) for row in weighings if row.method == "below_resolution"]
    return LoadTotal(
        load=number,
        weighings=tuple(weighings),
        mass=_mean(read) if read else None,
        below_g=None if read else min(m.high_g for m in unread),
        spread_g=_spread(read),
        spread_explained=not read or max(m.low_g for m in read) <= min(m.high_g for m in read),
    )


def _worst_spread(loads: Sequence[LoadTotal]) -> Decimal | None:
    """Return the largest spread, of the unexplained ones where there are any."""
    spreads = [
        (not load.spread_explained, load.spread_g) for load in loads if load.spread_g is not None
    ]
    return max(spreads)[1] if spreads else None


def _mean(masses: Sequence[Mass]) -> Mass:
    """Return the mean of repeated weighings; bounds are averaged too, not narrowed."""
    n = len(masses)
    return Mass(
        sum((m.value_g for m in masses), _ZERO) / n,
        sum((m.low_g for m in masses), _ZERO) / n,
        sum((m.high_g for m in masses), _ZERO) / n,
    )


def _spread(masses: Sequence[Mass]) -> Decimal | None:
    """Return largest minus smallest of two or more weighings."""
    if len(masses) < 2:
        return None
    values = [m.value_g for m in masses]
    return max(values) - min(values)
