"""Records about photos as labelled examples, and how one is selected from the log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, case, exists, func, or_, select

from service.store.append import sort_name
from service.store.rows import Row, record
from service.store.tables import (
    captures,
    example_sets,
    item_changes,
    items,
    models,
    reviews,
    sorts,
    withdrawals,
)

LABEL, UNCLEAR, TWO_ITEMS, DONT_USE = "label", "unclear", "two_items", "dont_use"
OPEN = "open"
"""A review taken back where there was none before: the photo waits for one again."""
SECOND = "second"
"""A second person's label, given without seeing the first; it changes no label."""
LEFT_OUT = (UNCLEAR, TWO_ITEMS, DONT_USE)
PHOTO_IS_THERE = and_(
    captures.c.photo_name.is_not(None), captures.c.id.not_in(select(withdrawals.c.capture_id))
)
"""The condition that a capture has a photo that was not withdrawn."""


@dataclass(frozen=True, slots=True)
class Example:
    """A confirmed photo that may be kept for training, as it stands.

    `label` is what a review says, else the last correction, else what was confirmed; `first` what
    was confirmed; `confidence` the model's probability of its first form.
    """

    capture_id: str
    sort_id: str
    sort_name: str
    photo_name: str
    item_id: str
    label: str
    first: str
    suggested: str | None
    confidence: float | None
    sorter: str
    verdict: str | None
    model: str | None
    model_id: str | None
    audit: bool
    origin: str | None
    object_group: str | None
    at: datetime

    @property
    def used(self) -> bool:
        """Whether a set holds it."""
        return self.verdict not in LEFT_OUT


@dataclass(frozen=True, slots=True)
class Review:
    """One row about a photo: what somebody who looked at it again says."""

    id: str
    capture_id: str
    verdict: str
    category: str | None
    note: str
    sorter: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which examples are meant; a field that is None asks nothing."""

    category: str | None = None
    sorter: str | None = None
    sort_id: str | None = None
    verdict: str | None = None
    reviewed: bool | None = None
    disagreement: bool = False
    confidence_below: float | None = None
    since: datetime | None = None
    before: datetime | None = None
    ids: Sequence[str] | None = None


_REVIEW = reviews.alias("last_review")
_CORRECTION = item_changes.alias("last_correction")
_TOP = captures.c.forms[(0, 1)].as_float()
_VERDICT = case((_REVIEW.c.verdict == OPEN, None), else_=_REVIEW.c.verdict)
_LABEL = case(
    (_REVIEW.c.verdict == LABEL, _REVIEW.c.category),
    else_=func.coalesce(_CORRECTION.c.category, items.c.category),
)


def select_examples(wanted: Wanted, *, counted: bool = False) -> Select[Any]:
    """Select the examples meant, in no order; `counted` selects their number instead."""
    newest = reviews.alias("newest_review")
    last_review = (
        select(func.max(newest.c.seq))
        .where(newest.c.capture_id == captures.c.id, newest.c.verdict != SECOND)
        .correlate(captures)
        .scalar_subquery()
    )
    latest = item_changes.alias("latest_change")
    last_correction = (
        select(func.max(latest.c.seq))
        .where(latest.c.item_id == items.c.id, latest.c.kind == "correct")
        .correlate(items)
        .scalar_subquery()
    )
    undone = item_changes.alias("undone")
    standing = ~exists().where(undone.c.item_id == items.c.id, undone.c.kind == "void")
    columns = [func.count()] if counted else list(_columns())
    return (
        select(*columns)
        .select_from(captures)
        .join(sorts, and_(sorts.c.id == captures.c.sort_id, sorts.c.keeps_photos))
        .join(items, and_(items.c.capture_id == captures.c.id, standing))
        .outerjoin(models, models.c.id == captures.c.model_id)
        .outerjoin(_REVIEW, _REVIEW.c.seq == last_review)
        .outerjoin(_CORRECTION, _CORRECTION.c.seq == last_correction)
        .where(
            captures.c.photo_name.is_not(None),
            ~exists().where(withdrawals.c.capture_id == captures.c.id),
            *_conditions(wanted),
        )
    )


def _columns() -> tuple[ColumnElement[Any], ...]:
    return (
        captures.c.id.label("capture_id"),
        captures.c.sort_id,
        sort_name().label("sort_name"),
        captures.c.photo_name,
        items.c.id.label("item_id"),
        _LABEL.label("label"),
        items.c.category.label("first"),
        items.c.suggested,
        _TOP.label("confidence"),
        items.c.sorter,
        _VERDICT.label("verdict"),
        models.c.name.label("model_name"),
        models.c.version.label("model_version"),
        captures.c.model_id,
        captures.c.audit,
        captures.c.origin,
        captures.c.object_group,
        captures.c.at,
    )


def _conditions(wanted: Wanted) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if wanted.category is not None:
        found.append(_LABEL == wanted.category)
    if wanted.sorter is not None:
        found.append(items.c.sorter == wanted.sorter)
    if wanted.sort_id is not None:
        found.append(captures.c.sort_id == wanted.sort_id)
    if wanted.verdict is not None:
        found.append(_VERDICT == wanted.verdict)
    if wanted.reviewed is not None:
        found.append(_VERDICT.is_not(None) if wanted.reviewed else _VERDICT.is_(None))
    if wanted.disagreement:
        found.append(and_(items.c.suggested.is_not(None), items.c.suggested != _LABEL))
    if wanted.confidence_below is not None:
        found.append(or_(_TOP.is_(None), wanted.confidence_below > _TOP))
    if wanted.since is not None:
        found.append(captures.c.at >= wanted.since)
    if wanted.before is not None:
        found.append(captures.c.at < wanted.before)
    if wanted.ids is not None:
        found.append(captures.c.id.in_(wanted.ids))
    return found


def not_an_example_set() -> ColumnElement[bool]:
    """Return the condition that a sort holds discards that were sorted, not imported photos."""
    return ~exists().where(example_sets.c.sort_id == sorts.c.id)


def to_example(row: Row) -> Example:
    """Build an example from a row of `select_examples`."""
    name, version = row["model_name"], row["model_version"]
    return record(Example, row, model=None if name is None else f"{name} {version}")
