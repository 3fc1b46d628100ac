"""Rows as lines of text that are the same whatever database they come from.

A line is a JSON list of the columns in the order of the table. Two stores with equal lines hold
equal rows, so that a digest of the lines proves a copy.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnDefault, Connection, Table, select
from sqlalchemy.exc import IntegrityError

from classifier.errors import StorageError
from service.store.engines import AS_IT_IS, is_storable
from service.store.row_check import row_values, typed_row
from service.store.tables import ALL_TABLES, captures, embeddings


def _stored() -> Iterator[Table]:
    for table in ALL_TABLES:
        yield table
        if table is captures:
            yield embeddings


STORED_TABLES = tuple(_stored())
"""Every table, embeddings too, in an order in which each stands after those it refers to."""
_FETCHED = 1000
_FETCHED_BYTES = 8_000_000


@dataclass(frozen=True, slots=True)
class TableDigest:
    """How many rows a table has, and the SHA-256 of their lines in order."""

    rows: int
    sha256: str


class Tally:
    """Counts and digests lines as they pass."""

    def __init__(self) -> None:
        self._rows = 0
        self._hash = hashlib.sha256()

    def through(self, lines: Iterable[bytes]) -> Iterator[bytes]:
        """Give the same lines."""
        for line in lines:
            self._rows += 1
            self._hash.update(line)
            self._hash.update(b"\n")
            yield line

    @property
    def digest(self) -> TableDigest:
        """What passed so far."""
        return TableDigest(self._rows, self._hash.hexdigest())


def stored_table(name: str) -> Table:
    """Return a table by its name.

    Raises StorageError when there is none.
    """
    for table in STORED_TABLES:
        if table.name == name:
            return table
    raise StorageError(f"there is no table {name!r}: it comes from another version of tallytare")


def lines_of(connection: Connection, table: Table) -> Iterator[bytes]:
    """Give the rows of a table as lines, in the order of its key."""
    query = select(table).order_by(*table.primary_key.columns)
    for row in connection.execute(query.execution_options(yield_per=_FETCHED)):
        yield _line(_plain(value) for value in row)


def digest_lines(lines: Iterable[bytes]) -> TableDigest:
    """Count and digest lines."""
    tally = Tally()
    for _ in tally.through(lines):
        pass
    return tally.digest


def digest_of(connection: Connection, table: Table) -> TableDigest:
    """Count and digest a table."""
    return digest_lines(lines_of(connection, table))


def insert_lines(connection: Connection, table: Table, lines: Iterable[bytes]) -> None:
    """Add rows from their lines, keys included.

    Raises StorageError for a row that is none of ours, or that this engine can't hold.
    """
    batch: list[dict[str, Any]] = []
    size = 0
    for line in lines:
        values = row_values(table.name, line)
        row = typed_row(table, values)
        _check_texts(connection, table, values)
        batch.append(row)
        size += len(line)
        if len(batch) == _FETCHED or size > _FETCHED_BYTES:
            _insert(connection, table, batch)
            batch, size = [], 0
    if batch:
        _insert(connection, table, batch)


def _insert(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    try:
        connection.execute(table.insert(), rows, execution_options=AS_IT_IS)
    except IntegrityError as error:
        raise StorageError(
            f"rows of {table.name} are there twice, or refer to what is not there ({error.orig}): "
            "nothing was changed; take another backup",
            table=table.name,
        ) from error


def completed(table: Table, columns: Sequence[str], lines: Iterable[bytes]) -> Iterator[bytes]:
    """Give lines of an older schema as those of today: what it lacks gets its default."""
    given = {each.name: each.default for each in table.columns}
    added = {
        name: default.arg if isinstance(default, ColumnDefault) else None
        for name, default in given.items()
    }
    for line in lines:
        values = row_values(table.name, line)
        if len(values) != len(columns):
            raise StorageError(
                f"a row of {table.name} has {len(values)} columns, and the backup names "
                f"{len(columns)}: nothing was changed; take another backup"
            )
        row = {**added, **dict(zip(columns, values, strict=True))}
        yield _line(row[each.name] for each in table.columns)


def _check_texts(connection: Connection, table: Table, values: Sequence[Any]) -> None:
    """Refuse what the engine can't hold: stores of version 0.1 on SQLite may have kept a NUL."""
    nul_is_kept = connection.dialect.name == "sqlite"
    for column, value in zip(table.columns, values, strict=True):
        if not isinstance(value, str):
            continue
        if not is_storable(value.replace("\0", "") if nul_is_kept else value):
            key = next(iter(table.primary_key.columns)).name
            row = dict(zip(table.columns.keys(), values, strict=True))[key]
            raise StorageError(
                f"the text {value[:40]!r} in the table {table.name}, row {key} = {row!r}, column "
                f"{column.name}, holds a character that PostgreSQL can't keep (NUL, or half of a "
                "pair): nothing was changed; stay with SQLite, where a NUL can be restored, or "
                "take it out of that row there, then make the backup or the move again",
                table=table.name,
                row=str(row),
            )


def _line(values: Iterable[Any]) -> bytes:
    return json.dumps(list(values), ensure_ascii=False, separators=(",", ":")).encode()


def _plain(value: Any) -> Any:
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, (bytes, memoryview)):
        return base64.b64encode(value).decode("ascii")
    return value
