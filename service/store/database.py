"""Transactions: one short write path, one consistent view to read.

`write` runs a function inside one transaction. On SQLite it takes the write lock at once; on
PostgreSQL the function locks the row of its sort (`append.lock_open_sort`). Either way what it
checks is still true when it inserts.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from typing import TypeVar

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from classifier.errors import ConflictError, StorageError

T = TypeVar("T")

# FastAPI has 40 threads. While another process holds the database, this many of them may wait out
# the whole time; the others are refused soon, so that pages can still be read.
_MOST_PATIENT = 24

_LATECOMER_S = 2.0

_TRIES = 3


class _Thread(threading.local):
    """The transaction that this thread is in, if `together` began it."""

    connection: Connection | None = None


class Database:
    """Transactions on one database."""

    def __init__(self, engine: Engine, *, busy_timeout_s: float) -> None:
        self.engine = engine
        self._busy_timeout_s = busy_timeout_s
        # SQLite makes writers poll for its lock; in one process a real lock is fair and faster.
        self._writers = threading.Lock() if engine.dialect.name == "sqlite" else None
        self._patient = threading.BoundedSemaphore(_MOST_PATIENT)
        self._thread = _Thread()

    def write(self, work: Callable[[Connection], T]) -> T:
        """Run `work` in one write transaction and return its result.

        Raises StorageError when the database refuses. A server database may report two equal ids
        only at the insert, and picks one of two transactions that wait for each other; then
        `work` runs again and finds what the other wrote. ConflictError when that does not help.
        """
        if self._thread.connection is not None:
            return work(self._thread.connection)
        deadline = time.monotonic() + self._busy_timeout_s
        with self._in_turn():
            for _ in range(_TRIES - 1):
                try:
                    return self._attempt(work, deadline)
                except (IntegrityError, LostRaceError):
                    continue
            try:
                return self._attempt(work, deadline)
            except (IntegrityError, LostRaceError) as error:
                raise ConflictError(
                    "another entry got in the way: nothing was recorded; reload the page, look at "
                    "what is there and send it again",
                    said=str(error.orig) if isinstance(error, IntegrityError) else str(error),
                ) from error

    def together(self, work: Callable[[], T]) -> T:
        """Run `work` so that all it reads and writes is one transaction: recorded whole or not.

        Raises what `write` raises.
        """

        if self._thread.connection is not None:
            return work()

        def joined(connection: Connection) -> T:
            self._thread.connection = connection
            try:
                return work()
            finally:
                self._thread.connection = None

        return self.write(joined)

    def empty_wal(self) -> bool:
        """Move SQLite's write-ahead log into the database and cut it to nothing.

        False where readers of an older state still need it. Raises StorageError.
        """
        if self.engine.dialect.name != "sqlite":
            return True
        wait_ms = round(1000 * self._busy_timeout_s)
        # Outside any transaction, so not through SQLAlchemy's connection, which begins one.
        with (
            self._in_turn(),
            plain_errors(self.place),
            closing(self.engine.raw_connection()) as raw,
        ):
            cursor = raw.cursor()
            cursor.execute(f"PRAGMA busy_timeout={wait_ms:d}")
            (busy, *_) = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        return not busy

    def _attempt(self, work: Callable[[Connection], T], deadline: float) -> T:
        with plain_errors(self.place):
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
        if self._thread.connection is not None:
            yield self._thread.connection
            return
        with plain_errors(self.place), self.engine.connect() as connection:
            if self.engine.dialect.name == "postgresql":
                connection = connection.execution_options(
                    isolation_level="REPEATABLE READ", postgresql_readonly=True
                )
            yield connection

    @property
    def place(self) -> str:
        """Where the database is, without a password."""
        url = self.engine.url
        return url.database or url.render_as_string(hide_password=True)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


_BUSY = "another program is writing to it; close that, or try again in a moment"

_FULL = "the disk is full; free some space, then send it again: nothing was recorded"

_NO_RIGHT = "it may not be written; give this user the right to write to file and folder"

_AWAY = "the database server does not answer; start it, or ask who keeps it, and send it again"

_NO_TABLE = "a table is missing; restore the database from a backup"

_ADVICE = (
    ("locked", _BUSY),
    ("lock timeout", _BUSY),
    ("full", _FULL),
    ("no space left", _FULL),
    ("readonly", _NO_RIGHT),
    ("read-only", _NO_RIGHT),
    ("not a database", "the file is damaged or is no database; restore it from a backup"),
    ("malformed", "the file is damaged; stop the service and restore it from a backup"),
    ("disk i/o error", "the disk does not answer; check it before going on"),
    ("unable to open", "the folder is missing or may not be entered; check the data folder"),
    ("no such table", _NO_TABLE),
    ("relation", _NO_TABLE),
    ("does not exist", "the database or its user is missing; make it, or set the URL right"),
    ("password authentication", "set user and password in TALLYTARE_DATABASE_URL right"),
    ("permission denied", "give its user the right to read, write and make tables there"),
    ("too many", "raise max_connections of the server, or start fewer services"),
    ("remaining connection slots", "raise max_connections of the server, or start fewer services"),
    ("queuepool", "too many requests at once; try again in a moment"),
    ("connection", _AWAY),
    ("terminating", _AWAY),
    ("starting up", _AWAY),
)

_SERIALISATION, _DEADLOCK = "40001", "40P01"


class LostRaceError(StorageError):
    """A server database ended this transaction in favour of another; trying again is safe."""


@contextmanager
def plain_errors(place: str) -> Iterator[None]:
    """Turn a refusal of the database into a sentence that says what to do."""
    try:
        yield
    except IntegrityError:
        raise
    except (SQLAlchemyError, sqlite3.Error) as error:
        if _lost_race(error):
            raise LostRaceError(
                f"the database {place} put another entry first: send it again", place=place
            ) from error
        raise storage_error(error, place) from error


def _lost_race(error: Exception) -> bool:
    said = error.orig if isinstance(error, DBAPIError) else None
    return getattr(said, "sqlstate", None) in (_SERIALISATION, _DEADLOCK)


def storage_error(error: Exception, place: str) -> StorageError:
    """Return a StorageError that names the database, what it said and what to do."""
    said = str(error.orig) if isinstance(error, DBAPIError) else str(error)
    lowered = said.lower()
    advice = next((text for key, text in _ADVICE if key in lowered), "try again; then restart it")
    return StorageError(f"the database {place} says {said!r}: {advice}", place=place, said=said)
