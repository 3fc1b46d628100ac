"""Engines: SQLite and PostgreSQL, both set up so that what was acknowledged is on the disk."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import SQLAlchemyError

from classifier.errors import InvalidEntryError, StorageError
from service.private import close_to_others, make_private_file

# A county's server has 100 connections by default; several services and its backup share them.
_SERVER_CONNECTIONS = 5

_MORE_SERVER_CONNECTIONS = 10

_WAL_PAUSE_S = 0.02

# A server whose cable was pulled says nothing: by default each request would wait for a quarter of
# an hour, and soon all threads with it.
_CABLE_PULLED = {
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 4,
    "tcp_user_timeout": 30_000,
}


def make_engine(place: str | Path, *, busy_timeout_s: float) -> Engine:
    """Build an engine; for SQLite also its folder, WAL and full synchronisation.

    `place` is the URL of a database or the path of a SQLite file, which may hold what has a meaning
    in URLs: a question mark, a percent sign.

    Raises StorageError when the folder can't be made or the URL can't be read.
    """
    try:
        url = URL.create("sqlite", database=str(place)) if isinstance(place, Path) else place
        engine = _engine(make_url(url), busy_timeout_s)
    except (SQLAlchemyError, ImportError) as error:
        # The URL may hold a password, so it is not repeated.
        raise StorageError(
            f"TALLYTARE_DATABASE_URL can't be used ({error}): write sqlite:///path or "
            "postgresql://user@host/database, leave it empty, or install the driver: "
            "pip install 'tallytare[postgres]'"
        ) from error
    refuse_unstorable(engine)
    return engine


def _engine(url: URL, busy_timeout_s: float) -> Engine:
    kind = url.get_backend_name()
    if kind == "postgresql":
        return _postgres(url, busy_timeout_s)
    if kind == "sqlite":
        return _sqlite(url, busy_timeout_s)
    raise StorageError(
        f"TALLYTARE_DATABASE_URL can't be used: {kind!r} is neither sqlite nor postgresql; write "
        "sqlite:///path or postgresql://user@host/database"
    )


def _postgres(url: URL, busy_timeout_s: float) -> Engine:
    """A transaction waits for locks as long as SQLite's would, and its commit for the disk."""
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    wait_ms = max(1, round(1000 * busy_timeout_s))
    engine = create_engine(
        url,
        pool_pre_ping=True,
        pool_size=_SERVER_CONNECTIONS,
        max_overflow=_MORE_SERVER_CONNECTIONS,
        pool_timeout=max(1.0, busy_timeout_s),
        connect_args={"connect_timeout": 10, "application_name": "tallytare", **_CABLE_PULLED},
    )

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        # Not as options of the connection: poolers between here and the server refuse those.
        connection.autocommit = True
        with connection.cursor() as cursor:
            cursor.execute(f"SET lock_timeout = {wait_ms:d}")
            cursor.execute("SET synchronous_commit = on")
            cursor.execute("SET timezone = 'UTC'")
        connection.autocommit = False

    return engine


def _sqlite(url: URL, busy_timeout_s: float) -> Engine:
    if url.database:
        folder = Path(url.database).parent
        try:
            # Names, places and photos are nobody else's on this machine.
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise StorageError(
                f"the data folder {folder} can't be made ({error.strerror}): "
                "set TALLYTARE_DATA_DIR to a folder that may be written"
            ) from error
        _close_files(url.database)
    # 64 connections: FastAPI's 40 threads never wait for one.
    engine = create_engine(
        url,
        pool_size=8,
        max_overflow=56,
        connect_args={"timeout": busy_timeout_s, "check_same_thread": False},
    )

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        # The driver's own BEGIN comes too late for "check, then insert"; ours is sent in _on_begin.
        connection.isolation_level = None
        cursor = connection.cursor()
        _use_wal(cursor, busy_timeout_s)
        cursor.execute("PRAGMA synchronous=FULL")
        # What is deleted is overwritten, however this SQLite was built.
        cursor.execute("PRAGMA secure_delete=ON")
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        wait_ms = options.get("tallytare_wait_ms", round(1000 * busy_timeout_s))
        connection.exec_driver_sql(f"PRAGMA busy_timeout={wait_ms:d}")
        connection.exec_driver_sql(options.get("tallytare_begin", "BEGIN"))

    return engine


def _close_files(database: str) -> None:
    """Let only this user read a database and what SQLite writes beside it, with its rights."""
    if database == ":memory:" or database.startswith("file:"):
        return
    with suppress(OSError):  # where it may not be written, SQLite says so
        make_private_file(Path(database))
    close_to_others(*(Path(f"{database}{end}") for end in ("-wal", "-shm")))


def _use_wal(cursor: Any, patience_s: float) -> None:
    """Change the journal mode, and wait for others: SQLite's own time limit does not hold here."""
    deadline = time.monotonic() + patience_s
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(_WAL_PAUSE_S)


_OPTION = "tallytare_as_it_is"

AS_IT_IS = {_OPTION: True}
"""Options of a statement that copies what a store has kept already."""


def is_storable(text: str) -> bool:
    """Tell whether both engines can hold a text."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return "\0" not in text


def refuse_unstorable(engine: Engine) -> None:
    """Let an engine raise InvalidEntryError for a statement with such a text among its values.

    Statements with the options `AS_IT_IS` are let through.
    """

    @event.listens_for(engine, "before_cursor_execute")
    def _on_execute(
        _connection: Any, _cursor: Any, _statement: str, given: Any, context: Any, many: bool
    ) -> None:
        if context is not None and context.execution_options.get(_OPTION):
            return
        for row in given if many else (given,):
            _check(row.values() if isinstance(row, dict) else row)


def _check(values: Iterable[Any]) -> None:
    for value in values:
        if isinstance(value, str) and not is_storable(value):
            raise InvalidEntryError(
                f"the text {value[:40]!r} holds a character that can't be kept (NUL, or half of a "
                "pair): take it out and send it again; nothing was recorded"
            )
