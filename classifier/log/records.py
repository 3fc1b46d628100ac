"""The rows of the log: what was recorded, when and by whom, never changed afterwards.

A correction, a void or another weighing is a new row. Everything a report shows is a fold over
these rows (`classifier.log.ledger.fold`), so that any past report can be made again.
Text fields hold exactly what was typed; ids are made by the client, so that a resend is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from classifier.log.quantities import Unit

Method = Literal["container", "difference", "below_resolution"]
"""How a pile was weighed."""

LoadAsked = int | Literal["only", "further"]
"""A load by its number; "further" is the next one, "only" the first where none was weighed."""

WITH_CONTENTS = "with_contents"
"""The route of an item with something left in it: set apart, and never weighed as packaging."""

ChangeKind = Literal["correct", "void"]
"""What a later row does to an item."""


@dataclass(frozen=True, slots=True)
class SortInfo:
    """One sorting of one lot of discards; `days` of accumulation by `persons` people."""

    id: str
    name: str
    place: str
    stratum: str
    sorted_on: date
    days: int
    persons: int
    programme_id: str
    sorters: tuple[str, ...]
    keeps_photos: bool
    created_at: datetime
    closed: bool


SORT_DETAILS = ("name", "place", "stratum", "sorted_on", "days", "persons", "programme_id")
"""Fields of a sort that a later row can correct."""


@dataclass(frozen=True, slots=True)
class DetailChange:
    """One detail of a sort, a field of `SORT_DETAILS`, as it was and as it is instead."""

    field: str
    before: str | int | date
    after: str | int | date


@dataclass(frozen=True, slots=True)
class SortCorrection:
    """A later correction of a sort's details; `changes` holds those that became different."""

    id: str
    changes: tuple[DetailChange, ...]
    reason: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A confirmed object, or `count` equal ones ("same again").

    `suggested` is the category that the person saw on top, `None` without a suggestion;
    `route` is the route shown when it was confirmed, `None` if it was left open.
    """

    id: str
    sort_id: str
    capture_id: str | None
    batch_id: str | None
    category: str
    count: int
    facts: Mapping[str, str]
    route: str | None = None
    sorter: str
    note: str
    at: datetime
    suggested: str | None = None
    model_version: str | None = None
    programme_version: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemChange:
    """A later correction or void of an item; a field that is `None` leaves the item's as it was."""

    id: str
    item_id: str
    kind: ChangeKind
    category: str | None = None
    count: int | None = None
    route: str | None = None
    facts: Mapping[str, str] | None = None
    batch_id: str | None = None
    reason: str
    sorter: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Batch:
    """A pile or container of one category in one sort."""

    id: str
    sort_id: str
    category: str
    label: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Weighing:
    """One weighing of a batch, exactly as read.

    `gross`, `resolution` and `capacity` are in `unit`; `tare` and `tare_resolution` in
    `tare_unit`, or in `unit` where that is `None`. For the difference method `gross` is the
    person holding the bag and `tare` the person alone. `load` says which bucketful of the batch it
    is, from 1: a batch that doesn't fit the bucket is weighed in several.
    """

    id: str
    batch_id: str
    method: Method
    gross: Decimal | None
    tare: Decimal | None
    unit: Unit
    resolution: Decimal
    tare_resolution: Decimal | None
    capacity: Decimal | None
    contents_left: bool
    note: str
    sorter: str
    at: datetime
    tare_unit: Unit | None = None
    load: int = 1


@dataclass(frozen=True, slots=True)
class WeighingVoid:
    """A weighing taken back, with the reason."""

    id: str
    weighing_id: str
    reason: str
    sorter: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Tare:
    """A bucket or box of the tare library, weighed empty."""

    id: str
    name: str
    weight: Decimal
    unit: Unit
    resolution: Decimal
    at: datetime
