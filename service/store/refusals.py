"""What a database says when it refuses, as sentences that say what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from classifier.domain.errors import StorageError

_BUSY = "another program is writing to it; close that, or try again in a moment"
_FULL = "the disk is full; free some space, then send it again: nothing was recorded"
_NO_RIGHT = "it may not be written; give this user the right to write to file and folder"
_AWAY = "the database server does not answer; start it, or ask who keeps it, and send it again"
_NO_TABLE = "a table is missing; restore the database from a backup"
_MENDS = (
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
                f"the database {place} gave way to another entry: send it again", place=place
            ) from error
        raise storage_error(error, place) from error


def _lost_race(error: Exception) -> bool:
    said = error.orig if isinstance(error, DBAPIError) else None
    return getattr(said, "sqlstate", None) in (_SERIALISATION, _DEADLOCK)


def storage_error(error: Exception, place: str) -> StorageError:
    """Return a StorageError that names the database, what it said and what to do."""
    said = str(error.orig) if isinstance(error, DBAPIError) else str(error)
    lowered = said.lower()
    mend = next((text for key, text in _MENDS if key in lowered), "try again; then restart it")
    return StorageError(f"the database {place} says {said!r}: {mend}", place=place, said=said)
