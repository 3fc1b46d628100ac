"""Engine and transactions: SQLite set up to lose nothing, one short write path.

`write` runs a function inside one transaction that takes the write lock at once, so that what it
checks is still true when it inserts. `read` gives one consistent view.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from classifier.domain.errors import ConflictError, StorageError

T = TypeVar("T")

_MENDS = (
    ("locked", "another program is writing to it; close that, or try again in a moment"),
    ("full", "the disk is full; free some space, then send it again: nothing was recorded"),
    ("readonly", "it may not be written; give this user the right to write to file and folder"),
    ("read-only", "it may not be written; give this user the right to write to file and folder"),
    ("not a database", "the file is damaged or is no database; restore it from a backup"),
    ("malformed", "the file is damaged; stop the service and restore it from a backup"),
    ("disk i/o error", "the disk does not answer; check it before going on"),
    ("unable to open", "the folder is missing or may not be entered; check the data folder"),
    ("no such table", "a table is missing; restore the database from a backup"),
)


# FastAPI has 40 threads. While another process holds the database, this many of them may wait out
# the whole time; the others are told soon, so that pages can still be read.
_MOST_PATIENT = 24
_LATECOMER_S = 2.0


class Database:
    """Transactions on one database."""

    def __init__(self, engine: Engine, *, busy_timeout_s: float) -> None:
        self.engine = engine
        self._busy_timeout_s = busy_timeout_s
        # SQLite makes writers poll for its lock; in one process a real lock is fair and faster.
        self._writers = threading.Lock() if engine.dialect.name == "sqlite" else None
        self._patient = threading.BoundedSemaphore(_MOST_PATIENT)

    def write(self, work: Callable[[Connection], T]) -> T:
        """Run `work` in one write transaction and return its result.

        Raises StorageError when the database refuses. A server database may report two equal ids
        only at the insert; then `work` runs once more and finds the first row. ConflictError when
        that does not help.
        """
        deadline = time.monotonic() + self._busy_timeout_s
        with self._in_turn():
            try:
                return self._attempt(work, deadline)
            except IntegrityError:
                pass
            try:
                return self._attempt(work, deadline)
            except IntegrityError as error:
                raise ConflictError(
                    "another entry got in the way: nothing was recorded; reload the page, look at "
                    "what is there and send it again",
                    said=str(error.orig),
                ) from error

    def _attempt(self, work: Callable[[Connection], T], deadline: float) -> T:
        with _plain_errors(self.place):
            left_ms = max(0, round(1000 * (deadline - time.monotonic())))
            immediate = self.engine.execution_options(
                tallytare_begin="BEGIN IMMEDIATE", tallytare_wait_ms=left_ms
            )
            with immediate.begin() as connection:
                return work(connection)

    @contextmanager
    def _in_turn(self) -> Iterator[None]:
        if self._writers is None:
            yield
            return
        patient = self._patient.acquire(blocking=False)
        wait_s = self._busy_timeout_s if patient else min(self._busy_timeout_s, _LATECOMER_S)
        try:
            if not self._writers.acquire(timeout=wait_s):
                raise StorageError(
                    f"the database {self.place} is busy with other entries; try again in a moment"
                )
            try:
                yield
            finally:
                self._writers.release()
        finally:
            if patient:
                self._patient.release()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the log throughout.

        Raises StorageError when the database can't be read.
        """
        with _plain_errors(self.place), self.engine.connect() as connection:
            if self.engine.dialect.name == "postgresql":
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            yield connection

    @property
    def place(self) -> str:
        """Where the database is, without a password."""
        url = self.engine.url
        return url.database or url.render_as_string(hide_password=True)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


@contextmanager
def _plain_errors(place: str) -> Iterator[None]:
    """Turn a refusal of the database into a sentence that says what to do."""
    try:
        yield
    except IntegrityError:
        raise
    except (SQLAlchemyError, sqlite3.Error) as error:
        raise storage_error(error, place) from error


def storage_error(error: Exception, place: str) -> StorageError:
    """Return a StorageError that names the database, what it said and what to do."""
    said = str(error.orig) if isinstance(error, DBAPIError) else str(error)
    lowered = said.lower()
    mend = next((text for key, text in _MENDS if key in lowered), "try again; then restart it")
    return StorageError(f"the database {place} says {said!r}: {mend}", place=place, said=said)


def make_engine(url: str, *, busy_timeout_s: float) -> Engine:
    """Build an engine; for SQLite also its folder, WAL and full synchronisation.

    Raises StorageError when the folder can't be made or the URL can't be read.
    """
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() != "sqlite":
            return create_engine(parsed, pool_pre_ping=True)
    except (SQLAlchemyError, ImportError) as error:
        # The URL may hold a password, so it is not repeated.
        raise StorageError(
            f"TALLYTARE_DATABASE_URL can't be used ({error}): write sqlite:///path, leave it "
            "empty, or install the driver of that database"
        ) from error
    if parsed.database:
        folder = Path(parsed.database).parent
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StorageError(
                f"the data folder {folder} can't be made ({error.strerror}): "
                "set TALLYTARE_DATA_DIR to a folder that may be written"
            ) from error
    # 64 connections: FastAPI's 40 threads never wait for one.
    engine = create_engine(
        parsed,
        pool_size=8,
        max_overflow=56,
        connect_args={"timeout": busy_timeout_s, "check_same_thread": False},
    )
    _set_up_sqlite(engine, busy_timeout_s)
    return engine


def _set_up_sqlite(engine: Engine, busy_timeout_s: float) -> None:
    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        # The driver's own BEGIN comes too late for "check, then insert"; ours is sent in _on_begin.
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute("PRAGMA journal_mode=WAL")
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        wait_ms = options.get("tallytare_wait_ms", round(1000 * busy_timeout_s))
        connection.exec_driver_sql(f"PRAGMA busy_timeout={wait_ms:d}")
        connection.exec_driver_sql(options.get("tallytare_begin", "BEGIN"))
