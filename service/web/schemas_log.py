"""How sorts, photos, items and the tally look in an answer."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from pydantic import BaseModel, ConfigDict

from classifier.domain.records import SortInfo
from classifier.domain.suggestion import RouteAnswer
from service.usecases.views import (
    CaptureView,
    CurrentItem,
    ItemHistory,
    ItemView,
    Tally,
)


class Answer(BaseModel):
    """Base of answers that are read off a record of the core."""

    model_config = ConfigDict(from_attributes=True)


class SortOut(Answer):
    """A sort as it stands."""

    id: str
    name: str
    place: str
    stratum: str
    sorted_on: date
    days: int
    persons: int
    programme_id: str
    sorters: list[str]
    keeps_photos: bool
    created_at: datetime
    closed: bool

    @classmethod
    def of(cls, sort: SortInfo) -> SortOut:
        """Build from the domain's record."""
        return cls.model_validate(sort)


class RouteOut(BaseModel):
    """A route with its condition; `when` names the open facts on which it hangs, if any."""

    id: str
    name: str
    condition: str
    note: str
    when: str

    @classmethod
    def of(cls, answer: RouteAnswer) -> RouteOut:
        """Build from the core's answer."""
        return cls(
            id=answer.route,
            name=answer.name,
            condition=answer.condition,
            note=answer.note,
            when=answer.when,
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


class ErrorDetail(BaseModel):
    """What went wrong: a code for programs, a sentence for people, the values concerned."""

    code: str
    message: str
    details: dict[str, Any]


class ErrorOut(BaseModel):
    """Every answer that is no success."""

    error: ErrorDetail


class HealthOut(BaseModel):
    """Whether everything that the service needs is there."""

    ok: bool
    store: bool
    model: str | None
    problems: list[str]
