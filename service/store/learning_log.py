"""What a scope learns from: its confirmed photos in order, and how far its log has come."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from operator import attrgetter
from typing import Any

from sqlalchemy import Connection, Select, exists, func, or_, select

from service.store.capture_log import load_model
from service.store.example_rows import LABEL, LEFT_OUT, SECOND
from service.store.part import LogPart
from service.store.rows import BlindChoice, ConfirmedPhoto, LearningMark, ModelRecord, record
from service.store.study_log import is_study, sort_ids_of
from service.store.tables import (
    captures,
    embeddings,
    item_changes,
    items,
    learned_starts,
    reviews,
    sorts,
    withdrawals,
)

_AT_ONCE = 200
"""Sorts in one condition: SQLite takes none of more than a thousand parts."""


class LearningLog(LogPart):
    """The part of the log that learning in place reads."""

    def learning_mark(self, scope_id: str) -> LearningMark:
        """Return how far the log of a scope has come; takes a look-up or two for each sort."""
        with self._database.read() as connection:
            return _mark(connection, scope_id)

    def confirmed_photos(
        self, scope_id: str, *, since: LearningMark | None = None
    ) -> tuple[LearningMark, tuple[ConfirmedPhoto, ...]]:
        """Return the confirmed photos of a scope in the order of confirmation, and the mark.

        With `since`, only those that came later; of a mark whose `others` have changed they would
        not be all that matters, so then ask without.
        """
        with self._database.read() as connection:
            mark = _mark(connection, scope_id)
            known = dict(() if since is None else since.items)
            grown = {
                sort_id: known.get(sort_id, 0)
                for sort_id, last in mark.items
                if last > known.get(sort_id, 0)
            }
            sort_ids = [sort_id for sort_id, _ in mark.items]
            return mark, _photos(connection, grown, sort_ids) if grown else ()

    def blind_choices(self, scope_id: str) -> tuple[BlindChoice, ...]:
        """Return the first choice of each audit of a scope of which an item stands, in order."""
        standing = items.alias()
        stands = exists().where(
            standing.c.capture_id == captures.c.id,
            ~exists().where(item_changes.c.item_id == standing.c.id, item_changes.c.kind == "void"),
        )
        query = (
            select(items.c.capture_id, items.c.category, items.c.suggested)
            .join(captures, captures.c.id == items.c.capture_id)
            .where(captures.c.audit, items.c.attempt == 0, stands)
            .order_by(items.c.seq)
        )
        with self._database.read() as connection:
            sort_ids = _sort_ids(connection, scope_id)
            rows = connection.execute(query.where(items.c.sort_id.in_(sort_ids)))
            return tuple(BlindChoice(*row) for row in rows)

    def models_of(self, model_ids: Iterable[str]) -> dict[str, ModelRecord]:
        """Return models by the id under which captures name them."""
        with self._database.read() as connection:
            return {each: load_model(connection, each) for each in sorted(set(model_ids))}


def _sort_ids(connection: Connection, scope_id: str) -> list[str]:
    """Return the sorts of a study, imported sets that were put into it too; else the sort."""
    if not is_study(connection, scope_id):
        return [scope_id]
    return sorted(connection.scalars(sort_ids_of(scope_id)))


def _mark(connection: Connection, scope_id: str) -> LearningMark:
    last_item = select(func.max(items.c.seq)).where(items.c.sort_id == sorts.c.id)
    last_change = select(func.max(item_changes.c.seq)).where(item_changes.c.sort_id == sorts.c.id)
    whole = is_study(connection, scope_id)
    query = (
        select(sorts.c.id, last_item.scalar_subquery(), last_change.scalar_subquery())
        .where(sorts.c.id.in_(sort_ids_of(scope_id)) if whole else sorts.c.id == scope_id)
        .order_by(sorts.c.id)
    )
    rows = [
        (sort_id, item or 0, change or 0) for sort_id, item, change in connection.execute(query)
    ]
    start = select(func.max(learned_starts.c.seq)).where(learned_starts.c.scope_id == scope_id)
    last = [select(func.max(table.c.seq)) for table in (reviews, withdrawals)]
    overall = connection.execute(select(*(each.scalar_subquery() for each in (*last, start)))).one()
    return LearningMark(
        items=tuple((sort_id, item) for sort_id, item, _ in rows),
        others=(*(change for _, _, change in rows), *(seq or 0 for seq in overall)),
    )


def _photos(
    connection: Connection, grown: Mapping[str, int], sort_ids: Sequence[str]
) -> tuple[ConfirmedPhoto, ...]:
    """Return the photos whose item came after the `seq` that is known of its sort, in order."""
    gone = exists().where(withdrawals.c.capture_id == captures.c.id)
    query = (
        select(
            items.c.seq,
            items.c.id,
            items.c.category,
            captures.c.id.label("capture_id"),
            captures.c.sort_id,
            captures.c.forms,
            captures.c.model_id,
            captures.c.audit,
            captures.c.object_group.label("group"),
            embeddings.c.vector,
        )
        .join(captures, captures.c.id == items.c.capture_id)
        .join(embeddings, embeddings.c.capture_id == captures.c.id)
        .where(captures.c.model_id.is_not(None), ~gone)
    )
    corrected, void = _changes(connection, sort_ids)
    reviewed = _reviews(connection, sort_ids)
    found = []
    for row in sorted(_later(connection, query, grown), key=attrgetter("seq")):
        verdict, label = reviewed.get(row.capture_id, ("", None))
        if row.id in void or verdict in LEFT_OUT:
            continue
        category = label or corrected.get(row.id, row.category)
        vector = bytes(row.vector)
        found.append(record(ConfirmedPhoto, row._mapping, vector=vector, category=category))
    return tuple(found)


def _later(connection: Connection, query: Select[Any], grown: Mapping[str, int]) -> Iterator[Any]:
    """Give the rows of items that came after the `seq` that is known of their sort."""
    marks = list(grown.items())
    for start in range(0, len(marks), _AT_ONCE):
        fresh = [
            (items.c.sort_id == sort_id) & (items.c.seq > seq)
            for sort_id, seq in marks[start : start + _AT_ONCE]
        ]
        yield from connection.execute(query.where(or_(*fresh)))


def _changes(
    connection: Connection, sort_ids: Sequence[str]
) -> tuple[Mapping[str, str], frozenset[str]]:
    """Return the last correction of each item, and the items that were undone."""
    query = (
        select(item_changes.c.item_id, item_changes.c.kind, item_changes.c.category)
        .where(item_changes.c.sort_id.in_(sort_ids))
        .order_by(item_changes.c.seq)
    )
    rows = list(connection.execute(query))
    corrected = {row.item_id: row.category for row in rows if row.category is not None}
    return corrected, frozenset(row.item_id for row in rows if row.kind == "void")


def _reviews(connection: Connection, sort_ids: Sequence[str]) -> dict[str, tuple[str, str | None]]:
    """Return the last verdict on each photo, with its category; second opinions judge nothing."""
    query = (
        select(reviews.c.capture_id, reviews.c.verdict, reviews.c.category)
        .join(captures, captures.c.id == reviews.c.capture_id)
        .where(captures.c.sort_id.in_(sort_ids), reviews.c.verdict != SECOND)
        .order_by(reviews.c.seq)
    )
    return {
        row.capture_id: (row.verdict, row.category if row.verdict == LABEL else None)
        for row in connection.execute(query)
    }
