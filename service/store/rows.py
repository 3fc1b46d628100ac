"""Records of the store that the core does not know, and how rows become records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import RowMapping, Table

from classifier.log.ledger import Ledger, fold
from classifier.log.records import (
    SORT_DETAILS,
    Batch,
    DetailChange,
    Item,
    ItemChange,
    SortCorrection,
    SortInfo,
    Weighing,
    WeighingVoid,
)
from classifier.rules.suggestion_parts import Thresholds

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

Row = RowMapping

RecordT = TypeVar("RecordT", bound="DataclassInstance")
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
class CountLine:
    """Unchanged items of one category and route: how many, their pieces, the first one's `seq`."""

    category: str
    route: str | None
    items: int
    pieces: int
    first_seq: int


@dataclass(frozen=True, slots=True)
class SortCounts:
    """What was counted in a sort: sums of unchanged items, and the changed ones by their `seq`."""

    lines: tuple[CountLine, ...]
    changed: Mapping[int, ItemState]


@dataclass(frozen=True, slots=True)
class SortingRows:
    """What the sorting page shows: the counts, the newest items, and photos not confirmed yet."""

    counts: SortCounts
    recent: tuple[ItemState, ...]
    open: tuple[CaptureState, ...]


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

    def ledger(self, *, keep_empty: bool = True) -> Ledger:
        """Return what the rows add up to (`fold`)."""
        return fold(
            self.sort,
            self.items,
            self.changes,
            self.batches,
            self.weighings,
            self.voids,
            keep_empty=keep_empty,
        )


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


def record(kind: type[RecordT], row: Row, **others: Any) -> RecordT:
    """Build a record from the columns of a row that have the names of its fields.

    `others` gives the fields that no column holds as it is. Lists of JSON become tuples.
    """
    found = {name: row[name] for name in _names(kind) if name not in others}
    for name, value in found.items():
        if isinstance(value, list):
            found[name] = _frozen(value)
    return kind(**found, **others)


def values(table: Table, found: DataclassInstance, **others: Any) -> dict[str, Any]:
    """Return what the row of a record holds: its fields that are columns, and `others`."""
    own = {name: getattr(found, name) for name in _names(type(found)) if name in table.c}
    return {**own, **others}


def said(found: DataclassInstance, *but: str) -> dict[str, Any]:
    """Return the fields of a record that a client sent: all but its id, its time and `but`."""
    left_out = {"id", "at", *but}
    return {name: getattr(found, name) for name in _names(type(found)) if name not in left_out}


@cache
def _names(kind: type[DataclassInstance]) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind))


def _frozen(value: Any) -> Any:
    return tuple(_frozen(each) for each in value) if isinstance(value, list) else value


def to_sort(row: Row) -> SortInfo:
    """Build a sort from its corrected row and the kind of its last event."""
    return record(SortInfo, row, created_at=row["at"], closed=row["last_event"] == "close")


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


OUTSIDE_A_STUDY = LearningSettings(learns=True, audit_percent=0)

IN_A_STUDY = LearningSettings(learns=True, audit_percent=10)


@dataclass(frozen=True, slots=True)
class Scope:
    """What learns as one, a study or a sort outside one, with what was last set for it, if at all.

    Where nothing was, it learns, and only a study judges photos blind.
    """

    id: str
    is_study: bool
    chosen: LearningSettings | None

    @property
    def settings(self) -> LearningSettings:
        """How the scope learns."""
        return self.chosen or (IN_A_STUDY if self.is_study else OUTSIDE_A_STUDY)


@dataclass(frozen=True, slots=True)
class SortPlace:
    """Where something is recorded: the sort, the scope in which it learns, the photo if any."""

    sort: SortInfo
    scope: Scope
    photo: CaptureState | None


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
    `model_id` the model that looked; `group` is shared by photos of one object, if given.
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
