"""How photos, items and the tally look in requests and answers."""

from __future__ import annotations

from datetime import datetime
from types import SimpleNamespace
from typing import Any

from pydantic import Field

from service.services import Services
from service.sorting.captures import CaptureView
from service.sorting.items import Tally
from service.sorting.suggesting import suggestion_json
from service.web.wire import Answer, Count, Id, Note, Parts, Request, RouteOut, Sorter


class ItemOut(Answer):
    """An item as it stands after its corrections."""

    within = ("item",)
    id: str
    sort_id: str
    capture_id: str | None
    batch_id: str | None
    category: str
    category_name: str
    count: int
    facts: dict[str, str]
    route: str | None
    route_name: str
    sorter: str
    note: str
    at: datetime
    suggested: str | None
    corrected: bool
    voided: bool


class ConfirmedOut(Answer):
    """Answer to a confirmation, correction or undo: the item, its route, the new tally."""

    item: ItemOut = Field(validation_alias="current")
    route: RouteOut
    tally: Tally


class CaptureOut(Answer):
    """A photo with what the model and the programme make of it.

    `audit`: drawn to check the suggestions; while `hidden` nobody has said what it is, and
    `suggestion` is empty but for a caution. `learned_from`: how many confirmations had a part in
    the suggestion, null where none had.
    """

    id: str
    sort_id: str
    photo: str | None
    suggestion: dict[str, Any]
    confirmed_item: ItemOut | None = Field(validation_alias="confirmed")
    notice: str
    audit: bool
    hidden: bool
    learned_from: int | None


class ChangeOut(Answer):
    """A correction or an undo, as recorded."""

    id: str
    kind: str
    category: str | None
    count: int | None
    route: str | None
    facts: dict[str, str] | None
    reason: str
    sorter: str
    at: datetime


class HistoryOut(Answer):
    """An item as first recorded, each change, and as it stands."""

    first: ItemOut
    changes: list[ChangeOut]
    current: ItemOut


def capture_out(services: Services, view: CaptureView) -> CaptureOut:
    """Return a capture as the wire shows it; pages embed the same shape."""
    suggestion = suggestion_json(services, view.suggestion, view.programme_id, model=view.model)
    address = None if view.photo_name is None else f"/photos/{view.id}.jpg"
    shown = {"photo": address, "suggestion": suggestion}
    return CaptureOut.model_validate(Parts(SimpleNamespace(**shown), view))


class FactAnswer(Request):
    """An answer to one question about a capture; "not_sure" leaves the fact open."""

    fact: str
    answer: str


class NewItem(Request):
    """A confirmation: of a capture, by hand, or "same again"."""

    item_id: Id
    capture_id: Id | None = None
    batch_id: Id | None = None
    category: str
    count: Count = 1
    facts: dict[str, str] = Field(default_factory=dict)
    note: Note = ""
    sorter: Sorter = ""


class Correction(Request):
    """What an item is instead; the first label stays in its history."""

    change_id: Id
    category: str
    count: Count
    facts: dict[str, str] = Field(default_factory=dict)
    reason: Note = ""
    sorter: Sorter = ""


class Undo(Request):
    """Takes an item out of the totals."""

    change_id: Id
    reason: Note = ""
    sorter: Sorter = ""
