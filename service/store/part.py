"""What the parts of the log share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Select

from service.store.database import Database
from service.store.rows import Row


class LogPart:
    """A part of the log, which reads each of its answers as it stood at one moment."""

    _database: Database

    def _rows(self, query: Select[Any]) -> Sequence[Row]:
        with self._database.read() as connection:
            return connection.execute(query).mappings().all()

    def _firsts(self, query: Select[Any]) -> Sequence[Any]:
        """Return the first value of each row."""
        with self._database.read() as connection:
            return connection.scalars(query).all()
