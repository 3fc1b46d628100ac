"""Rows from a file that anybody may have changed: refused in words before they are added."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, NoReturn

from sqlalchemy import JSON, Boolean, Column, Date, DateTime, Enum, Integer, LargeBinary, Table

from classifier.errors import StorageError
from service.store.columns import DecimalText, UtcDateTime

LONGEST_ROW_BYTES = 32_000_000
"""An exported head of many categories is the longest that there is: some hundred kilobytes."""
_LARGEST = 2**31 - 1
"""What PostgreSQL's INTEGER holds."""
_LAST_SEQ = 2**53
"""Near 2**63 the next row would get no number."""
_DEEPEST = 20
_DECIMAL = re.compile(r"-?[0-9]{1,39}(?:\.[0-9]{1,38})?")
_LISTS = frozenset({"sorters", "forms"})


def row_values(table: str, line: bytes) -> list[Any]:
    """Return the values of a line.

    Raises StorageError for a line that is no JSON list, or too long or deep.
    """
    if len(line) > LONGEST_ROW_BYTES:
        raise _refused(table, f"is longer than {LONGEST_ROW_BYTES:,} bytes")
    try:
        values = json.loads(line, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise _refused(table, f"can't be read ({type(error).__name__})") from error
    if not isinstance(values, list) or _depth(values) > _DEEPEST:
        raise _refused(table, f"is no list of at most {_DEEPEST} levels")
    return values


def typed_row(table: Table, values: Sequence[Any]) -> dict[str, Any]:
    """Return the values by column, as the database takes them.

    Raises StorageError for another number of values, or one that its column can't hold.
    """
    columns = list(table.columns)
    if len(values) != len(columns):
        raise _refused(table.name, f"has {len(values)} columns, not {len(columns)}")
    return {
        column.name: _typed(table.name, column, value)
        for column, value in zip(columns, values, strict=True)
    }


def _typed(table: str, column: Column[Any], value: Any) -> Any:
    if value is None:
        if not column.nullable:
            raise _refused(table, f"has no {column.name}")
        return None
    try:
        return _converted(column, value)
    except (ValueError, TypeError, OverflowError) as error:
        given = repr(value)[:60]
        raise _refused(table, f"has {given} as {column.name}, which that can't be") from error


def _converted(column: Column[Any], value: Any) -> Any:
    """Return a value as its column takes it; raises ValueError, TypeError, OverflowError."""
    of = column.type
    if isinstance(of, JSON):
        return _checked(value, list if column.name in _LISTS else dict)
    if isinstance(of, Boolean):
        return _checked(value, bool)
    if isinstance(of, Integer):
        return _whole(value, seq=column.name == "seq")
    text: str = _checked(value, str)
    if isinstance(of, (UtcDateTime, DateTime)):
        return _moment(text)
    if isinstance(of, Date):
        return date.fromisoformat(text)
    if isinstance(of, DecimalText):
        return _decimal(text)
    if isinstance(of, Enum) and text not in of.enums:
        raise ValueError
    if isinstance(of, LargeBinary):
        return base64.b64decode(text, validate=True)
    return text


def _whole(value: Any, *, seq: bool) -> int:
    number: int = _checked(value, int)
    most = _LAST_SEQ if seq else _LARGEST
    if isinstance(value, bool) or not (1 if seq else -most) <= number <= most:
        raise ValueError
    return number


def _decimal(text: str) -> Decimal:
    if not _DECIMAL.fullmatch(text):
        raise ValueError
    return Decimal(text)


def _moment(text: str) -> datetime:
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError
    found.astimezone(UTC)
    return found


def _checked(value: Any, kind: type) -> Any:
    if not isinstance(value, kind):
        raise TypeError
    return value


def _depth(value: Any) -> int:
    """Return how many lists and objects lie in one another; stops one above what is allowed."""
    level, depth = [value], 0
    while level and depth <= _DEEPEST:
        inner = [each for each in level if isinstance(each, (list, dict))]
        depth += bool(inner)
        level = [
            each
            for outer in inner
            for each in (outer.values() if isinstance(outer, dict) else outer)
        ]
        if not inner:
            break
    return depth


def _no_number(text: str) -> NoReturn:
    raise ValueError(text)


def _refused(table: str, what: str) -> StorageError:
    return StorageError(
        f"a row of {table} {what}: it was changed by hand, or comes from another version of "
        "tallytare; nothing was changed; take another backup",
        table=table,
    )
