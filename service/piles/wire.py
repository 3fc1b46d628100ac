"""How piles, weighings and tares look in requests and answers.

Quantities travel as the text that was read off a scale ("1,25" or "1.25"), so that no float comes
between the display and the log.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel

from classifier.log.quantities import Mass
from classifier.log.records import Batch, Tare, Weighing, WeighingVoid
from service.piles.usecases import BatchLine, PilesView, WeighingLine
from service.sorts.wire import SortOut
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


class MassOut(BaseModel):
    """A measured mass in grams with the bounds that the scale's resolution leaves."""

    value_g: Decimal
    low_g: Decimal
    high_g: Decimal

    @classmethod
    def of(cls, mass: Mass | None) -> MassOut | None:
        """Build from the domain's value."""
        if mass is None:
            return None
        return cls(value_g=mass.value_g, low_g=mass.low_g, high_g=mass.high_g)


class BatchOut(Answer):
    """A container or heap of one category."""

    id: str
    sort_id: str
    category: str
    label: str
    at: datetime

    @classmethod
    def of(cls, batch: Batch) -> BatchOut:
        """Build from the domain's record."""
        return cls.model_validate(batch)


class WeighingOut(BaseModel):
    """A reading as typed, its net mass, and the reason if it was voided."""

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
    net: MassOut | None
    void_reason: str | None

    @classmethod
    def of(cls, line: WeighingLine) -> WeighingOut:
        """Build from the use case's view."""
        weighing: Weighing = line.weighing
        void: WeighingVoid | None = line.void
        return cls(
            id=weighing.id,
            batch_id=weighing.batch_id,
            load=weighing.load,
            method=weighing.method,
            gross=weighing.gross,
            tare=weighing.tare,
            tare_unit=None if weighing.tare_unit is None else str(weighing.tare_unit),
            tare_resolution=weighing.tare_resolution,
            unit=str(weighing.unit),
            resolution=weighing.resolution,
            capacity=weighing.capacity,
            contents_left=weighing.contents_left,
            note=weighing.note,
            sorter=weighing.sorter,
            at=weighing.at,
            net=MassOut.of(line.net),
            void_reason=None if void is None else void.reason,
        )


class FarOut(Answer):
    """The mean item weight of a batch, and the range that its category leaves for it, in grams."""

    item_g: Decimal
    low_g: Decimal
    high_g: Decimal
    basis: str


class BatchLineOut(BaseModel):
    """A batch with its count, its mass (the sum of its loads) and what to know about it."""

    id: str
    label: str
    count: int
    state: str
    mass: MassOut | None
    below_g: Decimal | None
    spread_g: Decimal | None
    spread_explained: bool
    contents_left: bool
    count_after: int
    far: FarOut | None
    weighings: list[WeighingOut]

    @classmethod
    def of(cls, line: BatchLine) -> BatchLineOut:
        """Build from the use case's view."""
        total = line.total
        return cls(
            id=total.batch.id,
            label=total.batch.label,
            count=total.count,
            state=total.state,
            mass=MassOut.of(total.mass),
            below_g=total.below_g,
            spread_g=total.spread_g,
            spread_explained=total.spread_explained,
            contents_left=total.contents_left,
            count_after=total.count_after,
            far=None if line.far is None else FarOut.model_validate(line.far),
            weighings=[WeighingOut.of(each) for each in line.weighings],
        )


class PileOut(BaseModel):
    """One category's pile."""

    category: str
    name: str
    group: str
    count: int
    mass: MassOut | None
    batches: list[BatchLineOut]


class TareOut(Answer):
    """An entry of the tare library."""

    id: str
    name: str
    weight: Decimal
    unit: str
    resolution: Decimal
    at: datetime

    @classmethod
    def of(cls, tare: Tare) -> TareOut:
        """Build from the domain's record."""
        return cls.model_validate(tare)


class PilesOut(BaseModel):
    """The piles page as data."""

    sort: SortOut
    piles: list[PileOut]
    tares: list[TareOut]

    @classmethod
    def of(cls, view: PilesView) -> PilesOut:
        """Build from the use case's view."""
        return cls(
            sort=SortOut.of(view.sort),
            piles=[
                PileOut(
                    category=pile.category,
                    name=pile.name,
                    group=pile.group,
                    count=pile.count,
                    mass=MassOut.of(pile.mass),
                    batches=[BatchLineOut.of(line) for line in pile.batches],
                )
                for pile in view.piles
            ],
            tares=[TareOut.of(tare) for tare in view.tares],
        )


class WeighedOut(BaseModel):
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
