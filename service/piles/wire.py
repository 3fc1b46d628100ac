"""How piles, weighings and tares look in requests and answers.

Quantities travel as the text that was read off a scale ("1,25" or "1.25"), so that no float comes
between the display and the log.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Literal

from classifier.log.quantities import Mass
from classifier.log.records import SortInfo, Tare
from service.web.wire import (
    Answer,
    Id,
    Line,
    Load,
    Name,
    Note,
    Number,
    Reason,
    Request,
    Sorter,
    UnitName,
)


class WeighingOut(Answer):
    """A reading as typed, its net mass, and the reason if it was voided."""

    within = ("weighing",)
    id: str
    batch_id: str
    load: int
    method: str
    gross: Decimal | None
    tare: Decimal | None
    tare_unit: str | None
    tare_resolution: Decimal | None
    unit: str
    resolution: Decimal
    capacity: Decimal | None
    contents_left: bool
    note: str
    sorter: str
    at: datetime
    net: Mass | None
    void_reason: str | None


class FarOut(Answer):
    """The mean item weight of a batch, and the range that its category leaves for it, in grams."""

    item_g: Decimal
    low_g: Decimal
    high_g: Decimal
    basis: str


class BatchLineOut(Answer):
    """A batch with its count, its mass (the sum of its loads) and what to know about it."""

    within = ("total", "total.batch")
    id: str
    label: str
    count: int
    state: str
    mass: Mass | None
    below_g: Decimal | None
    spread_g: Decimal | None
    spread_explained: bool
    contents_left: bool
    count_after: int
    far: FarOut | None
    weighings: list[WeighingOut]


class PileOut(Answer):
    """One category's pile."""

    category: str
    name: str
    group: str
    count: int
    mass: Mass | None
    batches: list[BatchLineOut]


class PilesOut(Answer):
    """The piles page as data."""

    sort: SortInfo
    piles: list[PileOut]
    tares: list[Tare]


class WeighedOut(Answer):
    """Answer to a weighing or its void: the reading and the piles as they stand."""

    weighing: WeighingOut
    piles: PilesOut


class NewBatch(Request):
    """Another container or heap of a category."""

    batch_id: Id
    category: str
    label: Line = ""


class NewWeighing(Request):
    """One reading, as typed; `batch_id` or `category` says of what.

    A batch that doesn't fit the bucket is weighed in loads, which are added; readings of one load
    are averaged. `load` is at most one above the highest that stands.
    """

    weighing_id: Id
    batch_id: Id | None = None
    category: str | None = None
    load: Load = 1
    method: Literal["container", "difference", "below_resolution"]
    gross: Number | None = None
    tare: Number | None = None
    tare_unit: UnitName | None = None
    tare_resolution: Number | None = None
    unit: UnitName
    resolution: Number
    capacity: Number | None = None
    contents_left: bool = False
    note: Note = ""
    sorter: Sorter = ""


class VoidWeighing(Request):
    """Takes a weighing out of the totals; a reason is required."""

    void_id: Id
    reason: Reason
    sorter: Sorter = ""


class NewTare(Request):
    """A bucket or bag for the tare library."""

    tare_id: Id
    name: Name
    weight: Number
    unit: UnitName
    resolution: Number
