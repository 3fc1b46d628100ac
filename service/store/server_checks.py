"""What `tallytare check` asks a database server, which has no file of its own to look into."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, func, select, text

from service.store.row_text import STORED_TABLES

_MUST_BE_ON = ("fsync", "full_page_writes")


def strays(connection: Connection) -> Iterator[str]:
    """Say of each table how many rows refer to a row that is not there."""
    for table in STORED_TABLES:
        for key in table.foreign_keys:
            target = key.column.table.alias()
            there = target.c[key.column.name]
            query = (
                select(func.count())
                .select_from(table.outerjoin(target, key.parent == there))
                .where(key.parent.is_not(None), there.is_(None))
            )
            if lost := connection.scalar(query):
                yield f"table {table.name}: {lost} rows refer to no row of {key.column.table.name}"


def power_cut_risks(connection: Connection) -> Iterator[str]:
    """Say which settings of the server let an acknowledged entry vanish in a power cut."""
    if connection.dialect.name != "postgresql":
        return
    for name in _MUST_BE_ON:
        if connection.scalar(text(f"SHOW {name}")) != "on":
            yield (
                f"the database server has {name} off: what it acknowledged may vanish in a power "
                f"cut; set {name} = on in postgresql.conf and restart it"
            )
