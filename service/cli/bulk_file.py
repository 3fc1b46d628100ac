"""The file that a long `tallytare suggest` appends to, so that it can be stopped and go on.

One line a photograph, written whole and in order. What a crash left of a last line is cut off when
the file is opened again, and that photograph is looked at once more.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from classifier.csv_text import safe_cell
from classifier.errors import ConflictError

CSV_COLUMNS = (
    "file decision category p second second_p route cautions error model programme".split()
)


class BulkFile:
    """Suggestions as JSON lines, or as CSV where the name ends in .csv; use as a context."""

    def __init__(self, path: Path, *, made_by: Mapping[str, str]) -> None:
        """`made_by` names model and programme: a file goes on under the same only.

        Raises ConflictError when the file holds something else.
        """
        self._path = path
        self._csv = path.suffix.lower() == ".csv"
        self._made_by = dict(made_by)
        self._done: frozenset[str] = frozenset()

    def __enter__(self) -> BulkFile:
        """Open the file, cut off a torn line and find out what is done."""
        self._path.parent.mkdir(parents=True, exist_ok=True)
        _cut_torn_line(self._path)
        self._done = frozenset(self._read())
        # Line by line: what is said to be done is with the operating system at once.
        self._file = self._path.open("a", encoding="utf-8", newline="", buffering=1)
        if self._csv and not self._path.stat().st_size:
            self._write_row(CSV_COLUMNS)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        self._file.close()

    def is_done(self, file: str) -> bool:
        """Tell whether the file held this photograph, readable or not, when it was opened."""
        return (_cell(file) if self._csv else file) in self._done

    def add(self, answer: Mapping[str, Any]) -> None:
        """Append the suggestion for one photograph, as `to_json` and `error_json` give it."""
        if self._csv:
            self._write_row(_cells(answer, self._made_by))
        else:
            line = json.dumps({**answer, "made_by": self._made_by})
            self._file.write(line + "\n")

    def _write_row(self, cells: list[str] | tuple[str, ...]) -> None:
        row = io.StringIO()
        csv.writer(row, lineterminator="\n").writerow(cells)
        self._file.write(row.getvalue())

    def _read(self) -> list[str]:
        if not self._path.exists():
            return []
        found = []
        with self._path.open(encoding="utf-8", newline="") as file:
            try:
                rows = csv.DictReader(file) if self._csv else (json.loads(line) for line in file)
                for row in rows:
                    self._check(self._made_by_of(row))
                    found.append(row["file"])
            except (ValueError, KeyError, TypeError, csv.Error) as error:
                raise self._foreign("something else than suggestions") from error
        return found

    def _made_by_of(self, row: Mapping[str, Any]) -> Mapping[str, str]:
        if not self._csv:
            return dict(row["made_by"])
        return {"model": row["model"], "programme": row["programme"]}

    def _check(self, made_by: Mapping[str, str]) -> None:
        if made_by != self._made_by:
            raise self._foreign(", ".join(f"{key} {value}" for key, value in made_by.items()))

    def _foreign(self, what: str) -> ConflictError:
        wanted = ", ".join(f"{key} {value}" for key, value in self._made_by.items())
        return ConflictError(
            f"{self._path} holds {what}, but this run would add {wanted}; allowed: a file that "
            "the same command began, or a new one; give --output another name",
            file=str(self._path),
        )


def _cut_torn_line(path: Path) -> None:
    """Cut a file after its last line break."""
    if not path.exists() or not path.stat().st_size:
        return
    with path.open("rb+") as file:
        end = file.seek(0, io.SEEK_END)
        while end:
            begin = max(0, end - 65536)
            file.seek(begin)
            at = file.read(end - begin).rfind(b"\n")
            if at >= 0:
                file.truncate(begin + at + 1)
                return
            end = begin
        file.truncate(0)


def _cells(answer: Mapping[str, Any], made_by: Mapping[str, str]) -> list[str]:
    top = [*answer["categories"][:2], {"id": "", "p": ""}, {"id": "", "p": ""}][:2]
    route, error = answer["route"], answer["error"]
    cells = [
        answer["file"],
        answer["decision"],
        *(str(each[key]) for each in top for key in ("id", "p")),
        "" if route is None else route["id"],
        " ".join(each["id"] for each in answer["cautions"]),
        "" if error is None else error["message"],
        made_by["model"],
        made_by["programme"],
    ]
    return [_cell(cell) for cell in cells]


def _cell(text: str) -> str:
    # One line a photograph: a line break in a name would look like a torn line.
    return safe_cell(" ".join(text.splitlines()))
