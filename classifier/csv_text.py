"""CSV that opens in any spreadsheet and runs in none: the one place that writes it.

RFC 4180: commas, CRLF, a header line. A text that such a program would run as a formula gets a
leading apostrophe; numbers need none.
"""

from __future__ import annotations

import csv
import json
import re
from base64 import b64encode
from collections.abc import Iterable, Sequence
from datetime import date
from io import StringIO

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_BEHIND_SEPARATOR = re.compile(r"([;|\t\r\n][\s\"]*)(?=[=+\-@\uff1d\uff0b\uff0d\uff20])")


def safe_cell(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula.

    Spreadsheets run a cell that begins with = + - @ (or their full-width forms), also behind a tab
    or a line break; a leading apostrophe makes it plain text. Where the decimal mark is a comma,
    they cut lines at semicolons, so the same holds behind one. Numbers need none of this.
    """
    guarded = f"'{text}" if text.startswith(_FORMULA_STARTS) else text
    return _BEHIND_SEPARATOR.sub(r"\1'", guarded)


def plain_cell(value: object) -> object:
    """Return a value as CSV keeps it: dates in ISO form, lists as JSON, texts made safe.

    Bytes, such as a learned head, become base64.
    """
    if isinstance(value, bytes):
        return b64encode(value).decode("ascii")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (dict, list)):
        return safe_cell(json.dumps(value, ensure_ascii=False, sort_keys=True))
    return safe_cell(value) if isinstance(value, str) else value


def csv_line(values: Iterable[object]) -> str:
    """Return one line of CSV with its line end, every text safe."""
    line = StringIO()
    csv.writer(line, lineterminator="\r\n").writerow([plain_cell(value) for value in values])
    return line.getvalue()


def csv_text(columns: Sequence[str], rows: Iterable[Iterable[object]]) -> str:
    """Return a header and rows as CSV text, every text safe."""
    return "".join([csv_line(columns), *(csv_line(row) for row in rows)])
