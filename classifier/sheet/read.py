"""A filled field sheet: each line a pile, with every mistake named by line and column.

A line is one bucket or heap: what was counted, what the scale showed, or both. Readings stay as
they were typed; only a decimal comma becomes a point. Nothing is guessed: what can be read in two
ways, or names no category, is a problem of its line.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from classifier.csv_text import csv_text
from classifier.rules.category_parts import Categories
from classifier.sheet.category_names import CategoryNames
from classifier.sheet.lines import NUMBERS, LineReader, Scale, SheetProblem, SheetRow
from classifier.sheet.table import COLUMNS, TableRow, read_table

_FILLED = ("count", "gross", "tare", "method", "bucket", "contents_left", "note")
_AMBIGUOUS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")


@dataclass(frozen=True, slots=True)
class FieldSheet:
    """What a file holds. Blank lines named a category and nothing else, as in the template."""

    encoding: str
    separator: str
    decimal_comma: bool
    rows: tuple[SheetRow, ...]
    problems: tuple[SheetProblem, ...]
    blank: tuple[int, ...]


def sheet_template(categories: Categories, *, scale: Scale | None = None) -> str:
    """Return an empty sheet as CSV: a line for each category, to be filled in a spreadsheet."""
    scale = scale or Scale()
    known = {"unit": scale.unit, "resolution": scale.resolution}
    return csv_text(
        COLUMNS,
        (
            [
                {**known, "category": each.id, "name": each.name}.get(column, "")
                for column in COLUMNS
            ]
            for each in categories.categories
        ),
    )


def read_sheet(
    data: bytes,
    categories: Categories,
    *,
    scale: Scale | None = None,
    decimal_comma: bool | None = None,
) -> FieldSheet:
    """Return the lines of a filled sheet that can be recorded, and what is wrong with the others.

    Without `decimal_comma` the file itself must show it: a number such as 0,02 and none with a
    point. Where lines are cut at semicolons or tabs, any comma in a number and no point does.

    Raises
    ------
    InvalidEntryError
        If the file as a whole can't be read (see `read_table`).
    """
    table = read_table(data)
    if decimal_comma is None:
        decimal_comma = _uses_comma(table.rows, table.separator)
    reader = LineReader(CategoryNames(categories), scale or Scale(), decimal_comma)
    rows, problems, blank = [], [], []
    for row in table.rows:
        if _is_blank(row):
            blank.append(row.line)
            continue
        found = reader.read(row)
        if isinstance(found, SheetRow):
            rows.append(found)
        else:
            problems += found
    return FieldSheet(
        table.encoding,
        table.separator,
        decimal_comma,
        tuple(rows),
        tuple(problems),
        tuple(blank),
    )


def _is_blank(row: TableRow) -> bool:
    """Tell whether nothing was found: the template's line as it was, or with a count of 0."""
    filled = {column: row[column] for column in _FILLED if row[column]}
    return not row.beyond and filled in ({}, {"count": "0"})


def _uses_comma(rows: Sequence[TableRow], separator: str) -> bool:
    numbers = [row[column] for row in rows for column in NUMBERS]
    commas = [number for number in numbers if "," in number]
    if any("." in number for number in numbers):
        return False
    return bool(commas) and (
        separator != "comma" or any(not _AMBIGUOUS.fullmatch(number) for number in commas)
    )
