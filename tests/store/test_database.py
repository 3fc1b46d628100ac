"""Transactions: all or nothing, in turn, and once more where that helps."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path

import pytest
from sqlalchemy import Connection, text
from sqlalchemy.exc import IntegrityError

from classifier.errors import ConflictError, StorageError
from service.store import database as store
from service.store.database import Database
from service.store.schema import open_database
from service.store.tables import tares


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """Return an empty store."""
    made = open_database(f"sqlite:///{tmp_path / 'a.sqlite3'}", busy_timeout_s=0.2)
    yield made
    made.close()


def _add_version(connection: Connection) -> None:
    connection.execute(text("INSERT INTO alembic_version VALUES ('x')"))


def _versions(database: Database) -> int:
    with database.read() as connection:
        return int(connection.scalar(text("SELECT count(*) FROM alembic_version")) or 0)


def test_what_fails_half_way_is_not_there(database: Database) -> None:
    """The first statement is taken back with the second."""

    def work(connection: Connection) -> None:
        _add_version(connection)
        raise StorageError("stop")

    with pytest.raises(StorageError, match="stop"):
        database.write(work)
    assert _versions(database) == 1


def test_a_clash_at_the_insert_is_tried_once_more(database: Database) -> None:
    """A server database sees equal ids that late; the second run finds the first row."""
    runs = []

    def work(_: Connection) -> str:
        runs.append(1)
        if len(runs) == 1:
            raise IntegrityError("insert", {}, Exception("equal id"))
        return "found"

    assert database.write(work) == "found"


def test_a_clash_that_stays_is_told(database: Database) -> None:
    """With what to do; and the first try left nothing."""

    def work(connection: Connection) -> None:
        _add_version(connection)
        connection.execute(text("INSERT INTO tares (id) VALUES ('x')"))

    with pytest.raises(ConflictError, match="send it again"):
        database.write(work)
    assert _versions(database) == 1


def test_a_writer_that_never_ends_holds_up_nobody_for_ever(database: Database) -> None:
    """The others hear of it after the time-out."""
    inside, done = threading.Event(), threading.Event()

    def slow(_: Connection) -> None:
        inside.set()
        done.wait()

    thread = threading.Thread(target=database.write, args=(slow,))
    thread.start()
    inside.wait()
    with pytest.raises(StorageError, match="busy with other entries"):
        database.write(_add_version)
    done.set()
    thread.join()
    database.write(_add_version)
    assert _versions(database) == 2


def test_a_reader_sees_one_state(database: Database) -> None:
    """What is written meanwhile shows in the next reading only."""
    with database.read() as connection:
        query = text("SELECT count(*) FROM alembic_version")
        assert connection.scalar(query) == 1
        database.write(_add_version)
        assert connection.scalar(query) == 1
    assert _versions(database) == 2


def test_a_time_without_a_zone_is_refused(database: Database) -> None:
    """It would be taken for UTC later."""

    def work(connection: Connection) -> None:
        connection.execute(tares.insert().values(id="x", at=datetime(2026, 5, 1)))

    with pytest.raises(StorageError, match="no zone"):
        database.write(work)


def test_a_database_that_another_program_holds_is_busy_until_it_lets_go(
    database: Database,
) -> None:
    other = sqlite3.connect(database.place, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StorageError, match="try again in a moment"):
        database.write(_add_version)
    other.close()
    database.write(_add_version)
    assert _versions(database) == 2


class Turn:
    """A writers' lock that nobody gets: it notes how long each of `most` is ready to wait."""

    def __init__(self, most: int) -> None:
        self.ready_s: list[float] = []
        self._all_here = threading.Barrier(most)

    def acquire(self, timeout: float) -> bool:
        """Return once everybody waits."""
        self.ready_s.append(timeout)
        self._all_here.wait(60)
        return False


def test_a_locked_database_leaves_threads_to_readers(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Forty writers at once: some wait, the rest hear soon that it is busy."""
    turn = Turn(40)
    monkeypatch.setattr(database, "_writers", turn)
    monkeypatch.setattr(database, "_busy_timeout_s", 4.0)
    with ThreadPoolExecutor(40) as pool:
        sent = [pool.submit(database.write, _add_version) for _ in range(40)]
        for each in sent:
            with pytest.raises(StorageError, match="busy with other entries; try again"):
                each.result()
    assert sorted(turn.ready_s) == [
        *[store._LATECOMER_S] * (40 - store._MOST_PATIENT),
        *[4.0] * store._MOST_PATIENT,
    ]


def test_the_wait_for_another_program_and_for_ones_turn_are_one(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that nobody waits twice as long."""
    now = [100.0]
    lock = threading.Lock()

    class Slow:
        def acquire(self, timeout: float) -> bool:
            now[0] += 3.0
            return lock.acquire(timeout=timeout)

        def release(self) -> None:
            lock.release()

    def left_ms(connection: Connection) -> object:
        return connection.exec_driver_sql("PRAGMA busy_timeout").scalar()

    monkeypatch.setattr(database, "_writers", Slow())
    monkeypatch.setattr(database, "_busy_timeout_s", 4.0)
    monkeypatch.setattr("service.store.database.time.monotonic", lambda: now[0])
    assert database.write(left_ms) == 1000
