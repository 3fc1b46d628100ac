"""What a request may hold.

Quantities travel as the text that was read off a scale ("1,25" or "1.25"), so that no float comes
between the display and the log.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictBool, StrictInt

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def _written_day(value: object) -> object:
    """Refuse numbers: pydantic would take them for seconds since 1970."""
    if isinstance(value, str) and _DAY.fullmatch(value):
        return value
    raise ValueError("write year-month-day, such as 2026-05-31")


Id = Annotated[str, Field(json_schema_extra={"format": "uuid"})]
"""The use cases check it: their message says what to send instead."""
Day = Annotated[date, BeforeValidator(_written_day)]


class _Request(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class NewSort(_Request):
    """A sort to be started."""

    sort_id: Id
    name: str
    place: str = ""
    stratum: str = ""
    sorted_on: Day
    days: StrictInt
    persons: StrictInt
    programme_id: str
    sorters: list[str] = Field(default_factory=list, max_length=50)
    keeps_photos: bool = False
    study_id: Id | None = None


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
    count: StrictInt = 1
    facts: dict[str, str] = Field(default_factory=dict)
    note: str = ""
    sorter: str = ""


class Correction(_Request):
    """What an item is instead; the first label stays in its history."""

    change_id: Id
    category: str
    count: StrictInt
    facts: dict[str, str] = Field(default_factory=dict)
    reason: str = ""
    sorter: str = ""


class Undo(_Request):
    """Takes an item out of the totals."""

    change_id: Id
    reason: str = ""
    sorter: str = ""


class NewBatch(_Request):
    """Another container or heap of a category."""

    batch_id: Id
    category: str
    label: str = ""


class NewWeighing(_Request):
    """One reading, as typed; `batch_id` or `category` says of what."""

    weighing_id: Id
    batch_id: Id | None = None
    category: str | None = None
    method: Literal["container", "difference", "below_resolution"]
    gross: str | None = None
    tare: str | None = None
    tare_unit: str | None = None
    tare_resolution: str | None = None
    unit: str
    resolution: str
    capacity: str | None = None
    contents_left: bool = False
    note: str = ""
    sorter: str = ""


class VoidWeighing(_Request):
    """Takes a weighing out of the totals; a reason is required."""

    void_id: Id
    reason: str
    sorter: str = ""


class NewTare(_Request):
    """A bucket or bag for the tare library."""

    tare_id: Id
    name: str
    weight: str
    unit: str
    resolution: str


class NewStudy(_Request):
    """A study to be started."""

    study_id: Id
    name: str


class SortStudy(_Request):
    """The study that a sort is put into; null takes it out of any."""

    change_id: Id
    study_id: Id | None


class LearningChange(_Request):
    """Whether confirmations change suggestions, and what share of photos is judged blind."""

    change_id: Id
    learns: StrictBool
    audit_percent: StrictInt = Field(ge=0, le=100)
    sorter: str = ""


class LearningStart(_Request):
    """What learning starts from: a head in base64, another study or sort, or the shipped model.

    Give `head` with a `name`, or `from_scope`, or neither for the shipped model.
    """

    start_id: Id
    head: str | None = None
    name: str = ""
    from_scope: Id | None = None
    sorter: str = ""
