"""The list of a labelled set, `manifest.csv`, as people and their spreadsheets write it.

Commas, semicolons or tabs; UTF-8 with or without a mark, or UTF-16; names of columns in any case;
paths with the backslashes of Windows.
"""

from __future__ import annotations

import csv
import io
import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from classifier.errors import DataFileError

LABEL_COLUMNS = ("form", "label", "category")
_SEPARATORS = ",;\t"
_UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class ListedPicture:
    """One row: its line in the file, the picture's path as this system writes it, and its label.

    `cells` holds every column by its name in lower case.
    """

    line: int
    path: str
    label: str
    cells: dict[str, str]


def read_listing(
    file: Path,
    *,
    label_columns: Sequence[str] = LABEL_COLUMNS,
    called: str = "",
    most_lines: int = sys.maxsize - 1,
) -> list[ListedPicture]:
    """Read the pictures that a list names; rows without any content are passed over.

    Parameters
    ----------
    file:
        A CSV with the column path and one for the label; paths are relative to its folder.
    label_columns:
        What the column of the label may be called; the first one that is there counts.
    called:
        What messages call the file, where its path is of no use to who reads them.
    most_lines:
        How many lines the file may have at most.

    Raises
    ------
    DataFileError
        The file can't be read, is no CSV, has too many lines, lacks a column or has it twice, or
        lists a picture twice with different labels, groups or splits.
    """
    name = called or str(file)
    text = _text_of(file, name)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    try:
        lines = [
            (reader.line_num, [cell.strip() for cell in cells])
            for cells in islice(reader, most_lines + 1)
        ]
    except csv.Error as error:
        raise DataFileError(
            f"{name}, line {reader.line_num} is no CSV ({error}); look for a quotation mark that "
            "opens and doesn't close",
            file=name,
            line=reader.line_num,
        ) from error
    if len(lines) > most_lines:
        raise DataFileError(
            f"{name}, line {reader.line_num}: allowed are {most_lines:,} lines; list less at once",
            file=name,
            line=reader.line_num,
        )
    filled = [(line, cells) for line, cells in lines if any(cells)]
    columns = [name.lower() for name in filled[0][1]] if filled else []
    label = _label_column(columns, label_columns, name)
    found = []
    for line, cells in filled[1:]:
        row = dict(zip(columns, [*cells, *[""] * len(columns)], strict=False))
        row["path"] = _native(row["path"], file.parent)
        found.append(ListedPicture(line, row["path"], row[label], row))
    _refuse_contradictions(found, name)
    return found


def _text_of(file: Path, name: str) -> str:
    try:
        data = file.read_bytes()
    except OSError as error:
        raise DataFileError(
            f"{name} can't be read ({error.strerror or error}); see to it that it may be",
            file=name,
        ) from error
    encoding = "utf-16" if data.startswith(_UTF_16_MARKS) else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        raise DataFileError(
            f"{name} can't be read as a CSV in UTF-8 ({error}); save it so", file=name
        ) from error


def _separator(text: str) -> str:
    """Return what divides the first filled line most often, outside of quotation marks."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    unquoted = re.sub(r'"[^"]*"', "", first)
    return max(_SEPARATORS, key=unquoted.count)


def _label_column(columns: Sequence[str], allowed: Sequence[str], file: str) -> str:
    label = next((name for name in allowed if name in columns), None)
    if "path" not in columns or label is None:
        raise DataFileError(
            f"{file} needs the columns path and label; it has {', '.join(columns) or 'none'}. "
            f"That of the label may be called {', '.join(allowed)}; source, material, group and "
            "split may be there too",
            file=file,
        )
    for name in ("path", label):
        if columns.count(name) > 1:
            raise DataFileError(
                f"{file} has the column {name} {columns.count(name)} times; keep one",
                file=file,
            )
    return label


def _native(path: str, folder: Path) -> str:
    r"""Return a path with the separators of this system: `tins\1.jpg` was written on Windows."""
    if "\\" not in path or "\0" in path or (folder / path).exists():
        return path
    return path.replace("\\", "/")


def _refuse_contradictions(listed: Sequence[ListedPicture], file: str) -> None:
    """Refuse a picture that is listed as two things: it would be learned and judged as both."""
    first: dict[str, ListedPicture] = {}
    for each in listed:
        before = first.setdefault(each.path, each)
        for what in ("label", "group", "split"):
            now, then = (
                row.label if what == "label" else row.cells.get(what, "") for row in (each, before)
            )
            if now != then:
                raise DataFileError(
                    f"{file}, line {each.line}: {each.path} has the {what} {now or 'nothing'!r}, "
                    f"and {then or 'nothing'!r} in line {before.line}; keep one of the two",
                    file=file,
                    line=each.line,
                )
