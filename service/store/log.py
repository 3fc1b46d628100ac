"""The log: all that was recorded, and the only place that speaks SQL to it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select, text

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
from service.store.server_checks import power_cut_risks, strays
from service.store.sort_log import SortLog
from service.store.study_log import StudyLog
from service.store.tables import EXPORTED_TABLES
from service.store.totals_log import TotalsLog


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
                    return tuple(strays(connection))
                said = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check"))]
                lost = list(connection.execute(text("PRAGMA foreign_key_check")))
        except StorageError as error:
            return (error.message,)
        found = [line for line in said if line != "ok"]
        found += [f"table {row[0]}, row {row[1]}: refers to no row of {row[2]}" for row in lost]
        return tuple(found)

    def risks(self) -> tuple[str, ...]:
        """Return how a database server is set up to lose in a power cut what it acknowledged."""
        with self._database.read() as connection:
            return tuple(power_cut_risks(connection))

    def ping(self) -> None:
        """Raise StorageError when the database does not answer."""
        with self._database.read() as connection:
            connection.execute(text("SELECT 1"))

    def close(self) -> None:
        """Close all connections."""
        self._database.close()
