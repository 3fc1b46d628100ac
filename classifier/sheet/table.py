"""A filled field sheet as it comes out of a spreadsheet: bytes to columns and rows.

Spreadsheets write CSV in many ways: commas, semicolons or tabs; UTF-8 with or without a mark,
UTF-16, or the Windows code page of western Europe. What was found is shown, never hidden.
"""

from __future__ import annotations

import csv
import difflib
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import StringIO

from classifier.errors import InvalidEntryError

COLUMNS = (
    "category",
    "name",
    "count",
    "gross",
    "tare",
    "unit",
    "resolution",
    "method",
    "bucket",
    "contents_left",
    "note",
)
MAX_BYTES = 300_000
MAX_ROWS = 500
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_SPREADSHEETS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_SAID = {
    "utf-8-sig": "UTF-8",
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "utf-16-le": "UTF-16",
    "utf-16-be": "UTF-16",
    "cp1252": "Windows-1252",
}
_SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}


@dataclass(frozen=True, slots=True)
class TableRow:
    """One line: its number in the file, its cells by column, and cells beyond the columns."""

    line: int
    cells: Mapping[str, str]
    beyond: int

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")


@dataclass(frozen=True, slots=True)
class SheetTable:
    """Columns and rows, with how the file was read."""

    encoding: str
    separator: str
    columns: tuple[str, ...]
    rows: tuple[TableRow, ...]


def read_table(data: bytes) -> SheetTable:
    """Return the columns and non-empty rows of a CSV file.

    Raises
    ------
    InvalidEntryError
        If it is too large, no text, no CSV, or its columns can't be made out.
    """
    if len(data) > MAX_BYTES:
        raise InvalidEntryError(
            f"the file has {len(data):,} bytes: a field sheet has at most {MAX_BYTES:,}; give the "
            "CSV file and not the spreadsheet itself, or split it"
        )
    text, encoding = _decoded(data)
    separator = _separator(text)
    lines = list(_lines(text, separator))
    if not lines:
        raise InvalidEntryError(
            "the file is empty: save the filled sheet as CSV and give that file"
        )
    (_, header), *rest = lines
    columns = _columns(header)
    rows = tuple(_row(line, cells, columns) for line, cells in rest)
    _refuse_unknown(columns, rows)
    if len(rows) > MAX_ROWS:
        raise InvalidEntryError(
            f"the file has {len(rows)} filled lines: at most {MAX_ROWS} can be imported at once; "
            "split it and give the parts as sheets of their own"
        )
    return SheetTable(_SAID[encoding], _SEPARATORS[separator], columns, rows)


def plain(text: str) -> str:
    """Return a text for comparing: lower case, letters and digits, single spaces between words."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(re.sub(r"[\W_]+", " ", folded).split())


def _decoded(data: bytes) -> tuple[str, str]:
    encodings = [name for mark, name in _MARKS if data.startswith(mark)]
    if not encodings and b"\x00" in data[:200]:
        # Latin letters in UTF-16 have a zero byte each, before or behind.
        encodings = ["utf-16-be" if data[:1] == b"\x00" else "utf-16-le"]
    if data.startswith(_SPREADSHEETS):
        encodings = []
    elif not encodings:
        encodings = ["utf-8", "cp1252"]
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text, encoding
    raise InvalidEntryError(
        "the file is no text: save the sheet as CSV (UTF-8) and give that file, not the "
        "spreadsheet itself"
    )


def _separator(text: str) -> str:
    for line in text.splitlines():
        if line.lower().startswith("sep=") and line[4:5] in _SEPARATORS:
            return line[4]
        if line.strip():
            unquoted = re.sub(r'"[^"]*"', "", line)
            return max(_SEPARATORS, key=unquoted.count)
    return ","


def _lines(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Give each filled line with the number of its first line in the file."""
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator, strict=True)
    start = 1
    try:
        for cells in reader:
            line, start = start, reader.line_num + 1
            stripped = [cell.strip() for cell in cells]
            if any(stripped) and not (line == 1 and stripped[0].lower().startswith("sep=")):
                yield line, stripped
    except csv.Error as error:
        raise InvalidEntryError(
            f"line {reader.line_num} is no CSV ({error}): look for a quotation mark that opens and "
            "doesn't close, then give the file again"
        ) from error


def _columns(header: Sequence[str]) -> tuple[str, ...]:
    names = tuple(plain(name).replace(" ", "_") for name in header)
    if not {"category", "name"} & set(names):
        raise InvalidEntryError(
            f"the first line is {', '.join(header)[:200]!r}: it must hold the names of the "
            f"columns, with category among them; allowed: {', '.join(COLUMNS)}"
        )
    for name in names:
        if name in COLUMNS and names.count(name) > 1:
            raise InvalidEntryError(
                f"column {name} is there {names.count(name)} times: keep one of them"
            )
    return names


def _row(line: int, cells: Sequence[str], columns: Sequence[str]) -> TableRow:
    found = dict(zip(columns, cells, strict=False))
    beyond = sum(1 for cell in cells[len(columns) :] if cell)
    return TableRow(line, found, beyond)


def _refuse_unknown(columns: Sequence[str], rows: Sequence[TableRow]) -> None:
    """Refuse a column of figures that nobody would read; an empty one does no harm."""
    for column in columns:
        if column not in COLUMNS and any(row[column] for row in rows):
            near = difflib.get_close_matches(column, COLUMNS, n=1)
            hint = f" (did you mean {near[0]}?)" if near else ""
            raise InvalidEntryError(
                f"column {column or 'without a name'!r} is not known{hint}: allowed are "
                f"{', '.join(COLUMNS)}; rename it, or take it out"
            )
