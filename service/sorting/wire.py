"""How photos, items and the tally look in requests and answers."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import BaseModel, Field

from service.sorting.captures import CaptureView
from service.sorting.items import CurrentItem, ItemHistory, ItemView, Tally
from service.sorting.suggesting import suggestion_json
from service.sorts import usecases as sorts
from service.web.dependencies import ServicesDep
from service.web.wire import (
    Count,
    Id,
    Note,
    Request,
    RouteOut,
    Sorter,
)


class ItemOut(BaseModel):
    """An item as it stands after its corrections."""

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

    @classmethod
    def of(cls, current: CurrentItem) -> ItemOut:
        """Build from the use case's view."""
        item = current.item
        return cls(
            id=item.id,
            sort_id=item.sort_id,
            capture_id=item.capture_id,
            batch_id=item.batch_id,
            category=item.category,
            category_name=current.category_name,
            count=item.count,
            facts=dict(item.facts),
            route=item.route,
            route_name=current.route_name,
            sorter=item.sorter,
            note=item.note,
            at=item.at,
            suggested=item.suggested,
            corrected=current.corrected,
            voided=current.voided,
        )


class TallyLineOut(BaseModel):
    """One category's part of the tally."""

    category: str
    name: str
    count: int
    routes: list[str]


class TallyOut(BaseModel):
    """The running tally: `items` entries, `objects` counted pieces."""

    lines: list[TallyLineOut]
    items: int
    objects: int

    @classmethod
    def of(cls, tally: Tally) -> TallyOut:
        """Build from the use case's view."""
        return cls(
            lines=[
                TallyLineOut(
                    category=line.category,
                    name=line.name,
                    count=line.count,
                    routes=list(line.routes),
                )
                for line in tally.lines
            ],
            items=tally.items,
            objects=tally.objects,
        )


class ConfirmedOut(BaseModel):
    """Answer to a confirmation, correction or undo: the item, its route, the new tally."""

    item: ItemOut
    route: RouteOut
    tally: TallyOut

    @classmethod
    def of(cls, view: ItemView) -> ConfirmedOut:
        """Build from the use case's view."""
        return cls(
            item=ItemOut.of(view.current),
            route=RouteOut.of(view.route),
            tally=TallyOut.of(view.tally),
        )


class CaptureOut(BaseModel):
    """A photo with what the model and the programme make of it.

    `audit`: drawn to check the suggestions; while `hidden` nobody has said what it is, and
    `suggestion` is empty but for a caution. `learned_from`: how many confirmations had a part in
    the suggestion, null where none had.
    """

    id: str
    sort_id: str
    photo: str | None
    suggestion: dict[str, Any]
    confirmed_item: ItemOut | None
    notice: str
    audit: bool
    hidden: bool
    learned_from: int | None

    @classmethod
    def of(cls, view: CaptureView, suggestion: dict[str, Any]) -> CaptureOut:
        """Build from the use case's view and its suggestion as JSON."""
        return cls(
            id=view.id,
            sort_id=view.sort_id,
            photo=None if view.photo_name is None else f"/photos/{view.id}.jpg",
            suggestion=suggestion,
            confirmed_item=None if view.confirmed is None else ItemOut.of(view.confirmed),
            notice=view.notice,
            audit=view.audit,
            hidden=view.hidden,
            learned_from=view.learned_from,
        )


class ChangeOut(BaseModel):
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


class HistoryOut(BaseModel):
    """An item as first recorded, each change, and as it stands."""

    first: ItemOut
    changes: list[ChangeOut]
    current: ItemOut

    @classmethod
    def of(cls, history: ItemHistory) -> HistoryOut:
        """Build from the use case's view."""
        return cls(
            first=ItemOut.of(history.first),
            changes=[
                ChangeOut(
                    id=change.id,
                    kind=change.kind,
                    category=change.category,
                    count=change.count,
                    route=change.route,
                    facts=None if change.facts is None else dict(change.facts),
                    reason=change.reason,
                    sorter=change.sorter,
                    at=change.at,
                )
                for change in history.changes
            ],
            current=ItemOut.of(history.current),
        )


def capture_out(services: ServicesDep, view: CaptureView) -> CaptureOut:
    """Return a capture as the wire shows it; pages embed the same shape."""
    sort = sorts.get_sort(services, view.sort_id)
    as_json = suggestion_json(services, view.suggestion, sort.programme_id, model=view.model)
    return CaptureOut.of(view, as_json)


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
