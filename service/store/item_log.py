"""Confirmed items, their corrections and their voids."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection, exists, func, select

from classifier.errors import ConflictError
from classifier.log.records import Item, ItemChange
from service.store.append import (
    already_recorded,
    insert,
    load_sort,
    lock_open_sort,
    one_row,
    undone,
)
from service.store.capture_log import changes_of, load_capture, load_open_captures
from service.store.part import LogPart
from service.store.pile_log import batch_for
from service.store.rows import (
    CountLine,
    ItemState,
    Row,
    SortCounts,
    SortingRows,
    SortPlace,
    in_order,
    record,
    values,
)
from service.store.study_log import load_scope_of
from service.store.tables import captures, item_changes, items


class ItemLog(LogPart):
    """The part of the log that is about items."""

    def add_item(
        self,
        item: Item,
        *,
        programme_id: str,
        categories_version: str,
        sent: Mapping[str, object],
    ) -> ItemState | None:
        """Record a confirmation; a resend returns the first.

        It goes into the newest batch of its category unless it names one. Where the sort's
        programme is no longer the one that gave the route, nothing is recorded and None returned.

        Raises ClosedSortError; ConflictError when the id already belongs to another item or the
        photo is confirmed already, naming what was recorded; UnknownIdError for photo or batch.
        """

        def work(connection: Connection) -> ItemState | None:
            if already_recorded(connection, items, item.id, sent, "item"):
                return _load(connection, item.id)
            if lock_open_sort(connection, item.sort_id).programme_id != programme_id:
                return None
            attempt = None if item.capture_id is None else _next_attempt(connection, item)
            row = values(
                items,
                item,
                attempt=attempt,
                batch_id=batch_for(connection, item.sort_id, item.category, item.batch_id, item.at),
                categories_version=categories_version,
            )
            insert(connection, items, sent, row)
            return _load(connection, item.id)

        return self._database.write(work)

    def add_change(
        self, change: ItemChange, *, programme_version: str, sent: Mapping[str, object]
    ) -> ItemState:
        """Record a correction or a void; a resend returns the first.

        Raises ClosedSortError; ConflictError when the item was undone or the id already belongs to
        another change; UnknownIdError for the item.
        """

        def work(connection: Connection) -> ItemState:
            if already_recorded(connection, item_changes, change.id, sent, "change"):
                return _load(connection, change.item_id)
            state = _load(connection, change.item_id)
            sort_id = state.item.sort_id
            lock_open_sort(connection, sort_id)
            state = _load(connection, change.item_id)
            if any(earlier.kind == "void" for earlier in state.changes):
                raise ConflictError(
                    f"item {change.item_id} was undone already: it counts no longer; "
                    "enter it again if it should",
                    item=change.item_id,
                )
            batch_id = None
            if change.category is not None:
                batch_id = batch_for(connection, sort_id, change.category, None, change.at)
            row = values(
                item_changes,
                change,
                sort_id=sort_id,
                batch_id=batch_id,
                programme_version=programme_version,
            )
            insert(connection, item_changes, sent, row)
            return _load(connection, change.item_id)

        return self._database.write(work)

    def item_place(self, sort_id: str, capture_id: str | None) -> SortPlace:
        """Return where an item of a photo, or one without, is to be recorded.

        Raises UnknownIdError for the sort or the photo.
        """
        with self._database.read() as connection:
            photo = None if capture_id is None else load_capture(connection, capture_id)
            sort = load_sort(connection, sort_id)
            return SortPlace(sort, load_scope_of(connection, sort.id), photo)

    def change_place(self, item_id: str) -> SortPlace:
        """Return where a change of an item is to be recorded.

        Raises UnknownIdError for the item.
        """
        with self._database.read() as connection:
            sort_id = one_row(connection, items, item_id, "item")["sort_id"]
            sort = load_sort(connection, sort_id)
            return SortPlace(sort, load_scope_of(connection, sort.id), None)

    def counted(self, sort_id: str) -> SortCounts:
        """Return what was counted in a sort, added up by the database, for the running tally.

        Items that were changed later are few; they come one by one, with their changes.
        """
        with self._database.read() as connection:
            return _counts(connection, sort_id)

    def sorting_rows(self, sort_id: str, *, recent: int, open_photos: int) -> SortingRows:
        """Return what the sorting page shows: at most so many of the newest items and photos."""
        newest = select(items).where(items.c.sort_id == sort_id).order_by(items.c.seq.desc())
        with self._database.read() as connection:
            rows = connection.execute(newest.limit(recent)).mappings().all()
            return SortingRows(
                counts=_counts(connection, sort_id),
                recent=_states(connection, rows),
                open=load_open_captures(connection, sort_id, limit=open_photos),
            )

    def get_item(self, item_id: str) -> ItemState:
        """Return an item with its changes.

        Raises UnknownIdError when there is none.
        """
        with self._database.read() as connection:
            return _load(connection, item_id)


def _load(connection: Connection, item_id: str) -> ItemState:
    return _states(connection, [one_row(connection, items, item_id, "item")])[0]


def _states(connection: Connection, rows: Sequence[Row]) -> tuple[ItemState, ...]:
    """Return items with their changes."""
    changes = changes_of(connection, [row["id"] for row in rows])
    return tuple(ItemState(record(Item, row), in_order(changes[row["id"]])) for row in rows)


def _counts(connection: Connection, sort_id: str) -> SortCounts:
    own = items.c.sort_id == sort_id
    changed = exists().where(item_changes.c.item_id == items.c.id)
    summed = (
        select(
            items.c.category,
            items.c.route,
            func.count(),
            func.sum(items.c.count),
            func.min(items.c.seq),
        )
        .where(own, ~changed)
        .group_by(items.c.category, items.c.route)
    )
    lines = tuple(
        CountLine(category, route, number, int(pieces), first)
        for category, route, number, pieces, first in connection.execute(summed)
    )
    rows = connection.execute(select(items).where(own, changed)).mappings().all()
    states = _states(connection, rows)
    return SortCounts(lines, {row["seq"]: each for row, each in zip(rows, states, strict=True)})


def _next_attempt(connection: Connection, item: Item) -> int:
    """Return how often this photo's confirmation was undone.

    Raises ConflictError when a confirmation of it stands, or the photo is of another sort.
    """
    photo = one_row(connection, captures, str(item.capture_id), "photo")
    if photo["sort_id"] != item.sort_id:
        raise ConflictError(
            f"photo {item.capture_id} belongs to another sort: reload the page",
            capture=item.capture_id,
            sort=photo["sort_id"],
        )
    standing = connection.scalar(
        select(items.c.id).where(items.c.capture_id == item.capture_id, ~undone()).limit(1)
    )
    if standing is not None:
        raise _already_confirmed(_load(connection, standing))
    times = connection.scalar(
        select(func.count()).select_from(items).where(items.c.capture_id == item.capture_id)
    )
    return int(times or 0)


def _already_confirmed(state: ItemState) -> ConflictError:
    category, count = state.item.category, state.item.count
    for change in state.changes:
        category, count = change.category or category, change.count or count
    by = f" by {state.item.sorter}" if state.item.sorter else ""
    return ConflictError(
        f"this photo is already confirmed{by} as {category}, count {count}: "
        "nothing was added; correct that item if it is wrong",
        item=state.item.id,
        category=category,
        count=count,
        sorter=state.item.sorter,
        at=state.item.at.isoformat(),
    )
