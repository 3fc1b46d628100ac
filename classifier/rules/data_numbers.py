"""Exact decimals in data files: written as text, because TOML floats would be rounded."""

from __future__ import annotations

from decimal import Decimal

from classifier.errors import InvalidQuantityError
from classifier.log.quantities import parse_decimal
from classifier.rules.data_file import Table


def positive(table: Table, name: str) -> Decimal:
    """Return the number above 0 that is written as text; a mistake is noted and read as 1."""
    value = _number(table, name)
    if value <= 0:
        table.fault(
            name,
            f'"{name}" is not a number above 0',
            f'Write {name} = "1.25", in quotes and with a point',
        )
        return Decimal(1)
    return value


def amount(table: Table, name: str) -> Decimal:
    """Return a number that may be absent and is then 0; a mistake is noted."""
    return positive(table, name) if name in table.names() else Decimal(0)


def _number(table: Table, name: str) -> Decimal:
    """Return the number, 0 for anything that is none."""
    text = table.text(name)
    try:
        return parse_decimal(text, what=name) if text else Decimal(0)
    except InvalidQuantityError:
        return Decimal(0)
