"""What a request may hold.

Quantities travel as the text that was read off a scale ("1,25" or "1.25"), so that no float comes
between the display and the log.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, StrictBool

from service.web.wire_types import (
    Count,
    Day,
    Days,
    Id,
    Line,
    Load,
    Name,
    Note,
    Number,
    Persons,
    Reason,
    Sorter,
    UnitName,
    Whole,
)


class _Request(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class NewSort(_Request):
    """A sort to be started."""

    sort_id: Id
    name: Name
    place: Line = ""
    stratum: Line = ""
    sorted_on: Day
    days: Days
    persons: Persons
    programme_id: str
    sorters: list[Sorter] = Field(default_factory=list, max_length=50)
    keeps_photos: bool = False
    study_id: Id | None = None


class SortCorrection(_Request):
    """Details of a sort as they should have been; what is left out or null stays as it is.

    The programme can only change while no item is recorded.
    """

    correction_id: Id
    name: Name | None = None
    place: Line | None = None
    stratum: Line | None = None
    sorted_on: Day | None = None
    days: Days | None = None
    persons: Persons | None = None
    programme_id: str | None = None
    reason: Note = ""


class SortStep(_Request):
    """Closing or reopening; the id makes a resend harmless."""

    event_id: Id


class FactAnswer(_Request):
    """An answer to one question about a capture; "not_sure" leaves the fact open."""

    fact: str
    answer: str


class NewItem(_Request):
    """A confirmation: of a capture, by hand, or "same again"."""

    item_id: Id
    capture_id: Id | None = None
    batch_id: Id | None = None
    category: str
    count: Count = 1
    facts: dict[str, str] = Field(default_factory=dict)
    note: Note = ""
    sorter: Sorter = ""


class Correction(_Request):
    """What an item is instead; the first label stays in its history."""

    change_id: Id
    category: str
    count: Count
    facts: dict[str, str] = Field(default_factory=dict)
    reason: Note = ""
    sorter: Sorter = ""


class Undo(_Request):
    """Takes an item out of the totals."""

    change_id: Id
    reason: Note = ""
    sorter: Sorter = ""


class NewBatch(_Request):
    """Another container or heap of a category."""

    batch_id: Id
    category: str
    label: Line = ""


class NewWeighing(_Request):
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


class VoidWeighing(_Request):
    """Takes a weighing out of the totals; a reason is required."""

    void_id: Id
    reason: Reason
    sorter: Sorter = ""


class NewTare(_Request):
    """A bucket or bag for the tare library."""

    tare_id: Id
    name: Name
    weight: Number
    unit: UnitName
    resolution: Number


class NewStudy(_Request):
    """A study to be started."""

    study_id: Id
    name: Name


class SortStudy(_Request):
    """The study that a sort is put into; null takes it out of any."""

    change_id: Id
    study_id: Id | None


class LearningChange(_Request):
    """Whether confirmations change suggestions, and what share of photos is judged blind."""

    change_id: Id
    learns: StrictBool
    audit_percent: Whole = Field(ge=0, le=100)
    sorter: Sorter = ""


class LearningStart(_Request):
    """What learning starts from: a head in base64, another study or sort, or the shipped model.

    Give `head` with a `name`, or `from_scope`, or neither for the shipped model.
    """

    start_id: Id
    head: str | None = None
    name: Line = ""
    from_scope: Id | None = None
    sorter: Sorter = ""
