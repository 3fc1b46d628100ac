"""Records of the store that the core does not know, and how rows become records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, TypeVar

from sqlalchemy import RowMapping

from classifier.log.quantities import Unit
from classifier.log.records import (
    SORT_DETAILS,
    Batch,
    DetailChange,
    Item,
    ItemChange,
    SortCorrection,
    SortInfo,
    Tare,
    Weighing,
    WeighingVoid,
)
from classifier.rules.suggestion_parts import Thresholds

Row = RowMapping


Timed = TypeVar("Timed", Item, ItemChange, Batch, Weighing, WeighingVoid)


_TICK = timedelta(microseconds=1)


@dataclass(frozen=True, slots=True)
class ModelRecord:
    """What the rules need of a bundle; kept with the captures, so that they can be read again."""

    name: str
    version: str
    form_categories: Mapping[str, Mapping[str, float]]
    thresholds: Thresholds

    @property
    def label(self) -> str:
        """Name and version, as an item records them: two bundles may share a version."""
        return f"{self.name} {self.version}"


@dataclass(frozen=True, slots=True)
class LearnedShares:
    """What learning in place made of a photo: categories by probability, and from how much."""

    confirmations: int
    categories: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class CaptureRecord:
    """A photo as recorded: the model's ranked forms and the versions that were in force.

    `learned` is there where learning in place had a part in what was shown; `audit` says that the
    sorter had to choose before seeing it.
    """

    id: str
    sort_id: str
    photo_name: str | None
    forms: tuple[tuple[str, float], ...]
    model: ModelRecord | None
    categories_version: str
    programme_version: str
    notice: str
    at: datetime
    audit: bool = False
    learned: LearnedShares | None = None

    @property
    def model_label(self) -> str | None:
        """Name and version of the model that looked, if one did."""
        return None if self.model is None else self.model.label


@dataclass(frozen=True, slots=True)
class CaptureState:
    """A capture with the answers given so far and its confirmations (undone ones too)."""

    capture: CaptureRecord
    answers: Mapping[str, str]
    items: tuple[Item, ...]
    changes: tuple[ItemChange, ...]


@dataclass(frozen=True, slots=True)
class ItemState:
    """An item as first recorded, with its changes in order."""

    item: Item
    changes: tuple[ItemChange, ...]


@dataclass(frozen=True, slots=True)
class SortRows:
    """Every row of one sort, read in one transaction."""

    sort: SortInfo
    items: tuple[Item, ...]
    changes: tuple[ItemChange, ...]
    batches: tuple[Batch, ...]
    weighings: tuple[Weighing, ...]
    voids: tuple[WeighingVoid, ...]
    corrections: tuple[SortCorrection, ...] = ()


def in_order(records: Iterable[Timed]) -> tuple[Timed, ...]:
    """Return records given in order of `seq` with times that only grow.

    The core orders by time. A clock that stepped back must not swap two rows, so a row that
    claims to be older than the one before it is moved to just after it.
    """
    ordered: list[Timed] = []
    for record in records:
        if ordered and record.at <= ordered[-1].at:
            record = replace(record, at=ordered[-1].at + _TICK)
        ordered.append(record)
    return tuple(ordered)


def to_sort(row: Row) -> SortInfo:
    """Build a sort from its corrected row and the kind of its last event."""
    return SortInfo(
        id=row["id"],
        name=row["name"],
        place=row["place"],
        stratum=row["stratum"],
        sorted_on=row["sorted_on"],
        days=row["days"],
        persons=row["persons"],
        programme_id=row["programme_id"],
        sorters=tuple(row["sorters"]),
        keeps_photos=row["keeps_photos"],
        created_at=row["at"],
        closed=row["last_event"] == "close",
    )


def sort_values(sort: SortInfo, programme_version: str) -> dict[str, Any]:
    """Return what a new sort's row holds."""
    return {
        "id": sort.id,
        "name": sort.name,
        "place": sort.place,
        "stratum": sort.stratum,
        "sorted_on": sort.sorted_on,
        "days": sort.days,
        "persons": sort.persons,
        "programme_id": sort.programme_id,
        "programme_version": programme_version,
        "sorters": list(sort.sorters),
        "keeps_photos": sort.keeps_photos,
        "at": sort.created_at,
    }


def to_sort_corrections(first: Row, rows: Iterable[Row]) -> tuple[SortCorrection, ...]:
    """Build the corrections of a sort from its row as first recorded and those of `rows`."""
    found = []
    before = first
    for row in rows:
        changes = tuple(
            DetailChange(name, before[name], row[name])
            for name in SORT_DETAILS
            if row[name] != before[name]
        )
        found.append(SortCorrection(row["id"], changes, row["reason"], row["at"]))
        before = row
    return tuple(found)


def to_item(row: Row) -> Item:
    """Build an item as first recorded."""
    return Item(
        id=row["id"],
        sort_id=row["sort_id"],
        capture_id=row["capture_id"],
        batch_id=row["batch_id"],
        category=row["category"],
        count=row["count"],
        facts=dict(row["facts"]),
        route=row["route"],
        sorter=row["sorter"],
        note=row["note"],
        at=row["at"],
        suggested=row["suggested"],
        model_version=row["model_version"],
        programme_version=row["programme_version"],
    )


def to_change(row: Row) -> ItemChange:
    """Build a correction or void."""
    return ItemChange(
        id=row["id"],
        item_id=row["item_id"],
        kind=row["kind"],
        category=row["category"],
        count=row["count"],
        route=row["route"],
        facts=None if row["facts"] is None else dict(row["facts"]),
        batch_id=row["batch_id"],
        reason=row["reason"],
        sorter=row["sorter"],
        at=row["at"],
    )


def to_batch(row: Row) -> Batch:
    """Build a batch."""
    return Batch(
        id=row["id"],
        sort_id=row["sort_id"],
        category=row["category"],
        label=row["label"],
        at=row["at"],
    )


def to_weighing(row: Row) -> Weighing:
    """Build a weighing."""
    return Weighing(
        id=row["id"],
        batch_id=row["batch_id"],
        method=row["method"],
        gross=row["gross"],
        tare=row["tare"],
        unit=Unit(row["unit"]),
        resolution=row["resolution"],
        tare_resolution=row["tare_resolution"],
        capacity=row["capacity"],
        contents_left=row["contents_left"],
        note=row["note"],
        sorter=row["sorter"],
        at=row["at"],
        tare_unit=None if row["tare_unit"] is None else Unit(row["tare_unit"]),
        load=row["load"],
    )


def to_void(row: Row) -> WeighingVoid:
    """Build the void of a weighing."""
    return WeighingVoid(
        id=row["id"],
        weighing_id=row["weighing_id"],
        reason=row["reason"],
        sorter=row["sorter"],
        at=row["at"],
    )


def to_tare(row: Row) -> Tare:
    """Build an entry of the tare library."""
    return Tare(
        id=row["id"],
        name=row["name"],
        weight=row["weight"],
        unit=Unit(row["unit"]),
        resolution=row["resolution"],
        at=row["at"],
    )


@dataclass(frozen=True, slots=True)
class Study:
    """Sorts that belong together."""

    id: str
    name: str
    created_at: datetime


@dataclass(frozen=True, slots=True)
class LearningSettings:
    """How a scope learns: whether at all, and what share of photos is judged blind (per cent)."""

    learns: bool
    audit_percent: int


@dataclass(frozen=True, slots=True)
class LearnedStart:
    """An exported head that a scope starts from, with the name under which it was taken over."""

    id: str
    name: str
    content: bytes
    sorter: str
    at: datetime


@dataclass(frozen=True, slots=True)
class ConfirmedPhoto:
    """A photo that a standing item was confirmed from, as learning in place needs it.

    `vector` holds little-endian 16-bit floats, `category` what it is after corrections and review,
    `model_id` the model that looked; `group` is shared by photos of one object, if told.
    """

    seq: int
    capture_id: str
    sort_id: str
    vector: bytes
    forms: tuple[tuple[str, float], ...]
    model_id: str
    category: str
    audit: bool
    group: str | None


@dataclass(frozen=True, slots=True)
class LearningMark:
    """How far the log of a scope had come: two equal marks saw the same confirmations.

    `items` holds the last item of each sort; `others` the last correction of each sort, the last
    review and withdrawal of all, and the last head that the scope was started from.
    """

    items: tuple[tuple[str, int], ...]
    others: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BlindChoice:
    """An audit: what the sorter chose first, and what was on top of the hidden suggestion."""

    capture_id: str
    chosen: str
    suggested: str | None
