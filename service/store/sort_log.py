"""Sorts, and everything that was recorded in one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Literal

from sqlalchemy import Connection, Table, func, select

from classifier.errors import ConflictError
from classifier.log.records import (
    SORT_DETAILS,
    Batch,
    Item,
    ItemChange,
    SortInfo,
    Weighing,
    WeighingVoid,
)
from service.store.append import (
    already_recorded,
    insert,
    load_sort,
    lock_open_sort,
    lock_sort,
    newest_of,
    one_row,
    record_once,
    select_sorts,
    undone,
)
from service.store.example_rows import not_an_example_set
from service.store.part import LogPart
from service.store.rows import Row, SortRows, Timed, in_order, record, to_sort, to_sort_corrections
from service.store.tables import (
    batches,
    item_changes,
    items,
    sort_corrections,
    sort_events,
    sorts,
    weighing_voids,
    weighings,
)


class SortLog(LogPart):
    """The part of the log that is about sorts."""

    def add_sort(
        self, sort: SortInfo, *, programme_version: str, sent: Mapping[str, object]
    ) -> SortInfo:
        """Record a new sort; a resend returns the first.

        Raises ConflictError when the id already belongs to another sort.
        """

        def work(connection: Connection) -> SortInfo:
            own = {"programme_version": programme_version, "at": sort.created_at}
            record_once(connection, sorts, sort, sent, "sort", **own)
            return load_sort(connection, sort.id)

        return self._database.write(work)

    def add_sort_event(
        self, sort_id: str, event_id: str, kind: Literal["close", "reopen"], at: datetime
    ) -> SortInfo:
        """Close or reopen a sort; a resend changes nothing.

        Raises ConflictError when it is closed (or open) already.
        """
        sent = {"sort_id": sort_id, "kind": kind}

        def work(connection: Connection) -> SortInfo:
            sort = load_sort(connection, sort_id)
            if already_recorded(connection, sort_events, event_id, sent, "event"):
                return sort
            lock_sort(connection, sort_id)
            sort = load_sort(connection, sort_id)
            if sort.closed == (kind == "close"):
                state = "closed" if sort.closed else "open"
                raise ConflictError(
                    f"the sort {sort.name!r} is {state} already: reload the page", sort=sort_id
                )
            insert(connection, sort_events, sent, {"id": event_id, "at": at, **sent})
            return load_sort(connection, sort_id)

        return self._database.write(work)

    def add_sort_correction(
        self,
        correction_id: str,
        sort_id: str,
        changed: Mapping[str, object],
        *,
        reason: str,
        at: datetime,
        sent: Mapping[str, object],
    ) -> SortInfo:
        """Record changed details of a sort, by names in `SORT_DETAILS`; a resend changes nothing.

        Those that are not among them stay as the last correction left them.

        Raises ClosedSortError; UnknownIdError for the sort; ConflictError when the id already
        belongs to another correction, or the programme would change under items with its routes.
        """

        def work(connection: Connection) -> SortInfo:
            if already_recorded(connection, sort_corrections, correction_id, sent, "correction"):
                return load_sort(connection, sort_id)
            sort = lock_open_sort(connection, sort_id)
            details = {name: getattr(sort, name) for name in SORT_DETAILS} | dict(changed)
            if details["programme_id"] != sort.programme_id and _has_items(connection, sort_id):
                raise ConflictError(
                    f"local rules can't be changed: items of {sort.name!r} are recorded with "
                    f"routes of {sort.programme_id}; start another sort with the other rules",
                    field="programme_id",
                    sort=sort_id,
                )
            own = {"id": correction_id, "sort_id": sort_id, "reason": reason, "at": at}
            insert(connection, sort_corrections, sent, {**own, **details})
            return load_sort(connection, sort_id)

        return self._database.write(work)

    def has_items(self, sort_id: str) -> bool:
        """Tell whether an item was ever recorded in a sort, undone ones included."""
        with self._database.read() as connection:
            return _has_items(connection, sort_id.lower())

    def get_sort(self, sort_id: str) -> SortInfo:
        """Return a sort.

        Raises UnknownIdError when there is none.
        """
        with self._database.read() as connection:
            return load_sort(connection, sort_id.lower())

    def list_sorts(self, *, limit: int | None = None, skip: int = 0) -> tuple[SortInfo, ...]:
        """Return sorts, the newest first; imported sets of examples are none."""
        query = select_sorts().where(not_an_example_set()).order_by(sorts.c.seq.desc())
        return tuple(to_sort(row) for row in self._rows(query.limit(limit).offset(skip)))

    def objects_counted(self, found: Sequence[SortInfo]) -> dict[str, int]:
        """Return the pieces counted in each sort, by id, corrections and undone items considered.

        For lists of sorts; what `fold` says of one sort is the same (a test compares them).
        """
        own, correct = item_changes.c.item_id == items.c.id, item_changes.c.kind == "correct"
        corrected = newest_of(item_changes.c.count, own, correct).scalar_subquery()
        query = (
            select(items.c.sort_id, func.sum(func.coalesce(corrected, items.c.count)))
            .where(items.c.sort_id.in_([sort.id for sort in found]), ~undone())
            .group_by(items.c.sort_id)
        )
        with self._database.read() as connection:
            totals = {sort_id: int(total) for sort_id, total in connection.execute(query)}
        return {sort.id: totals.get(sort.id, 0) for sort in found}

    def scale_rows(self, found: Sequence[SortInfo]) -> tuple[SortRows, ...]:
        """Return for each sort what was weighed in it, without its items: for lists of sorts."""
        ids = [sort.id for sort in found]
        with self._database.read() as connection:
            batch_rows, weighing_rows, void_rows = (
                _of_sorts(connection, table, ids) for table in (batches, weighings, weighing_voids)
            )
        return tuple(
            SortRows(
                sort=sort,
                items=(),
                changes=(),
                batches=in_order(record(Batch, row) for row in batch_rows[sort.id]),
                weighings=in_order(record(Weighing, row) for row in weighing_rows[sort.id]),
                voids=in_order(record(WeighingVoid, row) for row in void_rows[sort.id]),
            )
            for sort in found
        )

    def sort_rows(self, sort_id: str) -> SortRows:
        """Return all rows of a sort, as they stood at one moment.

        Raises UnknownIdError when there is no such sort.
        """
        with self._database.read() as connection:
            return SortRows(
                sort=load_sort(connection, sort_id),
                items=_records(connection, items, sort_id, Item),
                changes=_records(connection, item_changes, sort_id, ItemChange),
                batches=_records(connection, batches, sort_id, Batch),
                weighings=_records(connection, weighings, sort_id, Weighing),
                voids=_records(connection, weighing_voids, sort_id, WeighingVoid),
                corrections=to_sort_corrections(
                    one_row(connection, sorts, sort_id, "sort"),
                    _of_sort(connection, sort_corrections, sort_id),
                ),
            )


def _has_items(connection: Connection, sort_id: str) -> bool:
    found = connection.scalar(select(items.c.seq).where(items.c.sort_id == sort_id).limit(1))
    return found is not None


def _of_sorts(connection: Connection, table: Table, ids: Sequence[str]) -> dict[str, list[Row]]:
    rows: dict[str, list[Row]] = {sort_id: [] for sort_id in ids}
    query = select(table).where(table.c.sort_id.in_(ids)).order_by(table.c.seq)
    for row in connection.execute(query).mappings():
        rows[row["sort_id"]].append(row)
    return rows


def _records(
    connection: Connection, table: Table, sort_id: str, kind: type[Timed]
) -> tuple[Timed, ...]:
    return in_order(record(kind, row) for row in _of_sort(connection, table, sort_id))


def _of_sort(connection: Connection, table: Table, sort_id: str) -> list[Row]:
    query = select(table).where(table.c.sort_id == sort_id).order_by(table.c.seq)
    return list(connection.execute(query).mappings())
