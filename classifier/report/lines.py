"""The parts of a report: what its three formats (page, JSON, CSV) all show.

Every figure says what it rests on. A `Mass` is measured and has resolution bounds; an `Estimate...`
is worked out from counts and is never added to a `Mass`. Weights are in grams, shares are fractions
from 0 to 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from classifier.log.ledger import Correction
from classifier.log.quantities import Mass
from classifier.log.records import Item, SortCorrection, SortInfo, Weighing
from classifier.report.conversions import Scope
from classifier.report.national import Comparison
from classifier.report.shares import Range, ShareRange
from classifier.rules.programme import Programme

WeighedHow = Literal["measured", "partly", "below_resolution", "not_weighed"]
RouteKind = Literal["recovered", "special", "discarded", "undecided"]
EstimateMethod = Literal["own_mean_item_weight", "pooled_mean_item_weight", "prior_item_weight"]


@dataclass(frozen=True, slots=True)
class RoutePart:
    """One route's part of a category's objects, 0 to 1."""

    route: str
    name: str
    share: Decimal


@dataclass(frozen=True, slots=True)
class CategoryLine:
    """One category that was recorded in the sort.

    `mass` is the sum of its measured piles, `None` if there is none; `below_g` is the most that its
    piles below the scale's resolution can weigh together, `None` without such piles. `weighed` is
    "partly" where only some of its piles have a reading. `unweighed_count` objects are known to be
    in no weighed pile; of `unplaced_count` nobody can say. `mean_item_g` comes from the piles
    that have a count and a weight which belong together. `routes` are by count.
    """

    category: str
    name: str
    group: str
    items: int
    count: int
    batches: int
    weighed: WeighedHow
    mass: Mass | None
    below_g: Decimal | None
    unweighed_count: int
    unplaced_count: int
    share_weight: Range | None
    share_range: ShareRange | None
    share_count: Decimal
    mean_item_g: Decimal | None
    routes: tuple[RoutePart, ...]


@dataclass(frozen=True, slots=True)
class GroupLine:
    """The measured subtotal and the counts of one group."""

    group: str
    name: str
    items: int
    count: int
    mass: Mass | None
    share_weight: Range | None
    share_range: ShareRange | None
    share_count: Decimal


@dataclass(frozen=True, slots=True)
class TotalLine:
    """The whole sort. `mass` is measured only; `below_g` and `estimated_g` stand beside it.

    `estimated_g` is `None` where nothing had to be estimated.
    """

    items: int
    count: int
    batches: int
    weighings: int
    mass: Mass
    below_g: Decimal
    estimated_g: Decimal | None
    unweighed_count: int


@dataclass(frozen=True, slots=True)
class Rate:
    """Measured net weight per person per week: net / persons / (days / 7), in kg and in lb."""

    kg: Range
    lb: Range


@dataclass(frozen=True, slots=True)
class RouteLine:
    """What goes one way: counts, measured weight, and weight split by counts (estimated).

    `share_weight` is of the measured total: its value uses the split, its bounds hold however the
    mixed piles divide. `estimated_split` says whether any of it is split.
    """

    route: str
    name: str
    kind: RouteKind
    items: int
    count: int
    measured: Mass
    split_g: Decimal
    estimated_split: bool
    share_weight: Range | None
    share_count: Decimal


@dataclass(frozen=True, slots=True)
class BelowLine:
    """A pile that did not move the display: it weighs at least 0 and less than `below_g`."""

    category: str
    name: str
    label: str
    count: int
    below_g: Decimal


@dataclass(frozen=True, slots=True)
class UnweighedLine:
    """Objects whose weight nobody measured, and why."""

    category: str
    name: str
    count: int
    reason: str


@dataclass(frozen=True, slots=True)
class EstimatedLine:
    """A weight worked out from a count: `grams` = `count` x `item_g`.

    `range_is` says what the range of `grams` is: a prediction interval, the span of several
    published priors (which has no level), or why there is none.
    """

    category: str
    name: str
    count: int
    item_g: Decimal
    grams: Range
    method: EstimateMethod
    basis: str
    code: str | None
    range_is: str


@dataclass(frozen=True, slots=True)
class CountLine:
    """A count worked out from a weight: `count` = weight of uncounted piles / `item_g`.

    Its range as in `EstimatedLine`; the scale's bounds are in it.
    """

    category: str
    name: str
    mass: Mass
    item_g: Decimal
    count: Range
    method: EstimateMethod
    basis: str
    code: str | None
    range_is: str


@dataclass(frozen=True, slots=True)
class ItemWeightLine:
    """The mean weight of one object of a category, with the batches that it is from."""

    category: str
    name: str
    item: Range
    batches: int
    objects: int
    sorts: int


@dataclass(frozen=True, slots=True)
class ItemWeightTable:
    """Mean item weights of the categories found, pooled over the batches that `words` name."""

    scope: Scope
    words: str
    lines: tuple[ItemWeightLine, ...]


@dataclass(frozen=True, slots=True)
class FarLine:
    """A pile whose objects weigh far more or less than those of its category usually do."""

    category: str
    name: str
    label: str
    item_g: Decimal
    low_g: Decimal
    high_g: Decimal
    basis: str


@dataclass(frozen=True, slots=True)
class Overruled:
    """Where the person chose another category than the one suggested on top."""

    suggested: str
    suggested_name: str
    confirmed: str
    confirmed_name: str
    items: int
    count: int


@dataclass(frozen=True, slots=True)
class Corrections:
    """How the record came about: suggestions taken or overruled, corrections, voids.

    `sort_details` are corrections of the sort itself: its name, days, persons and the like.

    `agreed` of `suggested` says how often the suggestion was taken. It is not the model's accuracy:
    who sees a suggestion before choosing leans towards it.
    """

    suggested: int
    agreed: int
    overruled: tuple[Overruled, ...]
    corrected: tuple[Correction, ...]
    voided_items: tuple[Item, ...]
    voided_weighings: tuple[Weighing, ...]
    sort_details: tuple[SortCorrection, ...]


@dataclass(frozen=True, slots=True)
class VersionSeen:
    """A version of model or programme and the number of items recorded with it."""

    version: str | None
    items: int


@dataclass(frozen=True, slots=True)
class Note:
    """One thing a reader must know about these figures."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Report:
    """Everything that page, JSON and CSV show of one sort.

    Only categories, groups and routes that occur have a line; they stand in the order of the list
    of categories and of the routes. `kinds` sums the routes into recovered, special, discarded and
    undecided.
    """

    sort: SortInfo
    categories_version: str
    programme: Programme
    programme_versions: tuple[VersionSeen, ...]
    models: tuple[VersionSeen, ...]
    categories: tuple[CategoryLine, ...]
    groups: tuple[GroupLine, ...]
    total: TotalLine
    rate: Rate
    routes: tuple[RouteLine, ...]
    kinds: tuple[RouteLine, ...]
    below_resolution: tuple[BelowLine, ...]
    not_weighed: tuple[UnweighedLine, ...]
    estimates: tuple[EstimatedLine, ...]
    count_estimates: tuple[CountLine, ...]
    item_weights: ItemWeightTable | None
    far_item_weights: tuple[FarLine, ...]
    corrections: Corrections
    national: Comparison | None
    notes: tuple[Note, ...]
