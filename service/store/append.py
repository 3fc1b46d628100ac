"""How a row gets into the log: once, under the client's id, and only into an open sort."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from sqlalchemy import Column, ColumnElement, Connection, Select, Table, exists, func, select

from classifier.errors import ClosedSortError, ConflictError, UnknownIdError
from classifier.log.records import SORT_DETAILS, SortInfo
from service.store.rows import Row, to_sort, values
from service.store.tables import item_changes, items, sort_corrections, sort_events, sorts

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


def fingerprint(sent: Mapping[str, object]) -> str:
    """Return a digest of what a client sent, the same for the same content in any order."""
    text = json.dumps(sent, sort_keys=True, ensure_ascii=False, default=str)
    # What can't be stored is refused at the insert, not here.
    return hashlib.sha256(text.encode(errors="surrogatepass")).hexdigest()


def already_recorded(
    connection: Connection, table: Table, row_id: str, sent: Mapping[str, object], what: str
) -> bool:
    """Tell whether this very entry is in the log.

    Raises ConflictError when the id already belongs to another entry.
    """
    known = connection.scalar(select(table.c.fingerprint).where(table.c.id == row_id))
    if known is None:
        return False
    if known != fingerprint(sent):
        raise ConflictError(
            f"{what} {row_id} is already recorded with other content: nothing was changed; "
            "reload the page, or send it under a new id",
            id=row_id,
            what=what,
        )
    return True


def insert(
    connection: Connection, table: Table, sent: Mapping[str, object], values: Mapping[str, Any]
) -> None:
    """Add one row with the digest of what was sent."""
    connection.execute(table.insert().values(fingerprint=fingerprint(sent), **values))


def record_once(
    connection: Connection,
    table: Table,
    found: DataclassInstance,
    sent: Mapping[str, object],
    what: str,
    **others: Any,
) -> None:
    """Add the row of a record unless this very entry is in the log; `others` as in `values`.

    Raises ConflictError when the id already belongs to another entry.
    """
    row = values(table, found, **others)
    if not already_recorded(connection, table, row["id"], sent, what):
        insert(connection, table, sent, row)


def newest_of(column: Column[Any], *where: ColumnElement[bool]) -> Select[Any]:
    """Select a column of the newest row of its table that meets some conditions."""
    return select(column).where(*where).order_by(column.table.c.seq.desc()).limit(1)


def undone() -> ColumnElement[bool]:
    """Return the condition that a selected item was undone."""
    return exists().where(item_changes.c.item_id == items.c.id, item_changes.c.kind == "void")


def select_sorts() -> Select[Any]:
    """Select sorts as their last correction left them, each with the kind of its last event."""
    last = newest_of(sort_events.c.kind, sort_events.c.sort_id == sorts.c.id).scalar_subquery()
    newest = (
        select(func.max(sort_corrections.c.seq))
        .where(sort_corrections.c.sort_id == sorts.c.id)
        .correlate(sorts)
        .scalar_subquery()
    )
    given = [column for column in sorts.c if column.name not in SORT_DETAILS]
    details = [
        func.coalesce(sort_corrections.c[name], sorts.c[name]).label(name) for name in SORT_DETAILS
    ]
    return select(*given, *details, last.label("last_event")).select_from(
        sorts.outerjoin(sort_corrections, sort_corrections.c.seq == newest)
    )


def sort_name() -> ColumnElement[str]:
    """Return the name of a selected sort as its last correction left it."""
    newest = newest_of(sort_corrections.c.name, sort_corrections.c.sort_id == sorts.c.id)
    return func.coalesce(newest.correlate(sorts).scalar_subquery(), sorts.c.name)


def load_sort(connection: Connection, sort_id: str) -> SortInfo:
    """Return a sort.

    Raises UnknownIdError when there is none.
    """
    row = connection.execute(select_sorts().where(sorts.c.id == sort_id)).mappings().first()
    if row is None:
        raise UnknownIdError(
            f"there is no sort {sort_id!r}: open it from the list of sorts", sort=sort_id
        )
    return to_sort(row)


def lock_sort(connection: Connection, sort_id: str) -> None:
    """Let others that add to this sort wait until the commit; rows that only refer to it go on.

    SQLite has one writer at a time and needs no such lock.
    """
    if connection.dialect.name == "sqlite":
        return
    query = select(sorts.c.seq).where(sorts.c.id == sort_id)
    connection.execute(query.with_for_update(key_share=True))


def lock_open_sort(connection: Connection, sort_id: str) -> SortInfo:
    """Return a sort that may be added to, and keep others from closing it until the commit.

    Raises ClosedSortError when it is closed.
    """
    lock_sort(connection, sort_id)
    sort = load_sort(connection, sort_id)
    if sort.closed:
        raise ClosedSortError(
            f"the sort {sort.name!r} is closed: reopen it, then send this again; "
            "nothing was recorded",
            sort=sort_id,
        )
    return sort


def one_row(connection: Connection, table: Table, row_id: str, what: str) -> Row:
    """Return the row with an id.

    Raises UnknownIdError when there is none.
    """
    row = connection.execute(select(table).where(table.c.id == row_id)).mappings().first()
    if row is None:
        raise no_such(what, row_id)
    return row


def no_such(what: str, row_id: str) -> UnknownIdError:
    """Return the error that nothing has an id."""
    return UnknownIdError(
        f"there is no {what} {row_id!r}: reload the page to see what is there", id=row_id, what=what
    )
