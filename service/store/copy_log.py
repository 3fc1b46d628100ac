"""The whole log out and in again: for backups, for restoring them and for moving house."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import TypeVar

from sqlalchemy import Connection, func, select, text

from classifier.errors import ConflictError, StorageError
from service.store.example_rows import PHOTO_IS_THERE
from service.store.part import LogPart
from service.store.row_text import (
    STORED_TABLES,
    TableDigest,
    digest_of,
    insert_lines,
    lines_of,
    stored_table,
)
from service.store.schema import HEAD
from service.store.tables import captures, promotions

T = TypeVar("T")
Lines = Callable[[str], Iterable[bytes]]


class Snapshot:
    """All rows as they stood at one moment."""

    tables = tuple(table.name for table in STORED_TABLES)
    schema = HEAD

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def lines(self, table: str) -> Iterator[bytes]:
        """Give the rows of a table as lines; read them to the end before the next table."""
        return lines_of(self._connection, stored_table(table))

    def columns(self, table: str) -> tuple[str, ...]:
        """Return the names of a table's columns."""
        return tuple(column.name for column in stored_table(table).columns)

    def digests(self) -> dict[str, TableDigest]:
        """Count and digest every table."""
        return {table.name: digest_of(self._connection, table) for table in STORED_TABLES}

    def photo_names(self) -> tuple[str, ...]:
        """Return the names of the photos that must be there, each once."""
        query = select(captures.c.photo_name).where(PHOTO_IS_THERE).distinct()
        return tuple(self._connection.scalars(query.order_by(captures.c.photo_name)))

    def bundle_names(self) -> tuple[str, ...]:
        """Return the folders of all bundles that were ever promoted, each once."""
        query = select(promotions.c.bundle).where(promotions.c.bundle != "").distinct()
        return tuple(self._connection.scalars(query.order_by(promotions.c.bundle)))


class CopyLog(LogPart):
    """The part of the log that copies it as a whole."""

    @contextmanager
    def snapshot(self) -> Iterator[Snapshot]:
        """Give everything as it stands now, while others go on writing."""
        with self._database.read() as connection:
            yield Snapshot(connection)

    def hold_still(self, work: Callable[[Snapshot], T]) -> T:
        """Run `work` while nobody else can write (SQLite) or its writes are not seen."""
        return self._database.write(lambda connection: work(Snapshot(connection)))

    def rows_in_all(self) -> int:
        """Return the number of rows in all tables together."""
        with self._database.read() as connection:
            return _rows_in_all(connection)

    def load(
        self, lines: Lines, expected: Mapping[str, TableDigest], *, overwrite: bool
    ) -> dict[str, TableDigest]:
        """Replace an empty log, or with `overwrite` any log, by given rows: all of them or none.

        What was written is read back and compared with what is expected before it is committed.

        Raises ConflictError when the log holds something and may not be overwritten,
        StorageError when the rows differ from what was expected.
        """

        def work(connection: Connection) -> dict[str, TableDigest]:
            _keep_others_out(connection)
            if overwrite:
                for table in reversed(STORED_TABLES):
                    connection.execute(table.delete())
            elif rows := _rows_in_all(connection):
                raise ConflictError(
                    f"the store {self._database.place} holds {rows} rows already: nothing was "
                    "changed; name an empty one",
                    rows=rows,
                )
            for table in STORED_TABLES:
                insert_lines(connection, table, lines(table.name))
                _go_on_counting(connection, table.name)
            found = Snapshot(connection).digests()
            if found != dict(expected):
                wrong = [name for name, digest in found.items() if digest != expected.get(name)]
                raise StorageError(
                    f"the copy differs from its original in {', '.join(wrong)}: nothing was "
                    "changed; try again, and check the disk if it happens again",
                    tables=wrong,
                )
            return found

        return self._database.write(work)


def _rows_in_all(connection: Connection) -> int:
    return sum(
        int(connection.scalar(select(func.count()).select_from(table)) or 0)
        for table in STORED_TABLES
    )


def _keep_others_out(connection: Connection) -> None:
    """Lock all tables; SQLite's one writer has them already."""
    if connection.dialect.name == "postgresql":
        names = ", ".join(table.name for table in STORED_TABLES)
        connection.execute(text(f"LOCK TABLE {names} IN SHARE ROW EXCLUSIVE MODE"))


def _go_on_counting(connection: Connection, table: str) -> None:
    """Let the next row get the number after the last one; SQLite does so by itself."""
    if connection.dialect.name == "postgresql" and "seq" in stored_table(table).columns:
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table}', 'seq'), "
                f"coalesce((SELECT max(seq) FROM {table}), 0) + 1, false)"
            )
        )
