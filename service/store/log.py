"""The log: all that was recorded, and the only place that speaks SQL to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from sqlalchemy import Connection, func, select, text

from classifier.errors import StorageError
from service.store.access_log import AccessLog
from service.store.capture_log import CaptureLog
from service.store.copy_log import CopyLog
from service.store.database import Database
from service.store.example_log import ExampleLog
from service.store.item_log import ItemLog
from service.store.learning_log import LearningLog
from service.store.pile_log import PileLog
from service.store.promotion_log import PromotionLog
from service.store.row_text import STORED_TABLES
from service.store.sort_log import SortLog
from service.store.study_log import StudyLog
from service.store.tables import EXPORTED_TABLES
from service.store.totals_log import TotalsLog

_MUST_BE_ON = ("fsync", "full_page_writes")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class LogTable:
    """One table for export: column names, what each holds, and the rows in order."""

    name: str
    columns: tuple[str, ...]
    docs: tuple[str, ...]
    rows: Iterator[tuple[Any, ...]]


class Log(
    SortLog,
    CaptureLog,
    ItemLog,
    PileLog,
    StudyLog,
    LearningLog,
    AccessLog,
    ExampleLog,
    CopyLog,
    PromotionLog,
    TotalsLog,
):
    """Appends rows and reads them back; nothing is ever changed or deleted."""

    def __init__(self, database: Database) -> None:
        self._database = database

    @property
    def place(self) -> str:
        """Where the log is kept."""
        return self._database.place

    def tables(self) -> Iterator[LogTable]:
        """Give every table, all as they stood at one moment; read each before the next."""
        with self._database.read() as connection:
            for table in EXPORTED_TABLES:
                result = connection.execute(select(table).order_by(table.c.seq))
                yield LogTable(
                    name=table.name,
                    columns=tuple(column.name for column in table.columns),
                    docs=tuple(column.doc or "" for column in table.columns),
                    rows=(tuple(row) for row in result),
                )

    def problems(self) -> tuple[str, ...]:
        """Check the database itself and return what is wrong with it."""
        try:
            with self._database.read() as connection:
                if connection.dialect.name != "sqlite":
                    return tuple(_strays(connection))
                said = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check"))]
                lost = list(connection.execute(text("PRAGMA foreign_key_check")))
        except StorageError as error:
            return (error.message,)
        found = [line for line in said if line != "ok"]
        found += [f"table {row[0]}, row {row[1]}: refers to no row of {row[2]}" for row in lost]
        return tuple(found)

    def together(self, work: Callable[[], T]) -> T:
        """Run `work` so that all it records is there as a whole, or nothing of it is."""
        return self._database.together(work)

    def forget_deleted(self) -> bool:
        """Take what was deleted out of SQLite's write-ahead log too; False: readers need it yet."""
        return self._database.empty_wal()

    def risks(self) -> tuple[str, ...]:
        """Return how a database server is set up to lose in a power cut what it acknowledged."""
        with self._database.read() as connection:
            return tuple(_power_cut_risks(connection))

    def ping(self) -> None:
        """Raise StorageError when the database does not answer."""
        with self._database.read() as connection:
            connection.execute(text("SELECT 1"))

    def close(self) -> None:
        """Close all connections."""
        self._database.close()


def _strays(connection: Connection) -> Iterator[str]:
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


def _power_cut_risks(connection: Connection) -> Iterator[str]:
    """Say which settings of the server let an acknowledged entry vanish in a power cut."""
    if connection.dialect.name != "postgresql":
        return
    for name in _MUST_BE_ON:
        if connection.scalar(text(f"SHOW {name}")) != "on":
            yield (
                f"the database server has {name} off: what it acknowledged may vanish in a power "
                f"cut; set {name} = on in postgresql.conf and restart it"
            )
