"""Confirmed items, their corrections and their voids."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection, exists, func, select

from classifier.errors import ConflictError
from classifier.log.records import Item, ItemChange, SortInfo
from service.store.append import already_recorded, insert, load_sort, lock_open_sort, one_row
from service.store.database import Database
from service.store.pile_log import batch_for
from service.store.rows import ItemState, in_order, record, values
from service.store.tables import captures, item_changes, items


@dataclass(frozen=True, slots=True)
class CountLine:
    """Unchanged items of one category and route: how many, their pieces, the first one's `seq`."""

    category: str
    route: str | None
    items: int
    pieces: int
    first_seq: int


@dataclass(frozen=True, slots=True)
class SortCounts:
    """What was counted in a sort: sums of unchanged items, and the changed ones themselves."""

    sort: SortInfo
    lines: tuple[CountLine, ...]
    changed: tuple[Item, ...]
    changes: tuple[ItemChange, ...]
    first_seq: Mapping[str, int]


class ItemLog:
    """The part of the log that is about items."""

    _database: Database

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

        Raises ClosedSortError; ConflictError when the id bears another item or when the photo is
        confirmed already, naming what was recorded; UnknownIdError for the photo or batch.
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

        Raises ClosedSortError; ConflictError when the item was undone or the id bears another
        change; UnknownIdError for the item.
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

    def counted(self, sort_id: str) -> SortCounts:
        """Return what was counted in a sort, added up by the database, for the running tally.

        Items that were changed later are few; they come one by one, with their changes.

        Raises UnknownIdError when there is no such sort.
        """
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
        of_sort = select(item_changes).where(item_changes.c.sort_id == sort_id)
        with self._database.read() as connection:
            changes = connection.execute(of_sort.order_by(item_changes.c.seq)).mappings().all()
            query = select(items).where(own, changed).order_by(items.c.seq)
            rows = connection.execute(query).mappings().all() if changes else []
            return SortCounts(
                sort=load_sort(connection, sort_id),
                lines=tuple(
                    CountLine(category, route, number, int(pieces), first)
                    for category, route, number, pieces, first in connection.execute(summed)
                ),
                changed=in_order(record(Item, row) for row in rows),
                changes=in_order(record(ItemChange, row) for row in changes),
                first_seq={row["id"]: row["seq"] for row in rows},
            )

    def get_item(self, item_id: str) -> ItemState:
        """Return an item with its changes.

        Raises UnknownIdError when there is none.
        """
        with self._database.read() as connection:
            return _load(connection, item_id)


def _load(connection: Connection, item_id: str) -> ItemState:
    row = one_row(connection, items, item_id, "item")
    changes = connection.execute(
        select(item_changes).where(item_changes.c.item_id == item_id).order_by(item_changes.c.seq)
    )
    return ItemState(
        item=record(Item, row),
        changes=in_order(record(ItemChange, each) for each in changes.mappings()),
    )


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
    undone_later = exists().where(
        item_changes.c.item_id == items.c.id, item_changes.c.kind == "void"
    )
    standing = connection.scalar(
        select(items.c.id).where(items.c.capture_id == item.capture_id, ~undone_later).limit(1)
    )
    if standing is not None:
        raise _already_confirmed(_load(connection, standing))
    undone = connection.scalar(
        select(func.count()).select_from(items).where(items.c.capture_id == item.capture_id)
    )
    return int(undone or 0)


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
