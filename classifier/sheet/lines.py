"""One line of a field sheet: what it records, or everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from classifier.errors import TallytareError
from classifier.log.quantities import Unit, parse_count, parse_decimal, parse_unit
from classifier.log.records import Method, Weighing
from classifier.log.weighing import net_mass
from classifier.sheet.category_names import CategoryNames
from classifier.sheet.table import COLUMNS, TableRow, plain

NOTE_LENGTH = 1000
BUCKET_LENGTH = 120
METHODS: dict[str, Method] = {
    "container": "container",
    "in a container": "container",
    "c": "container",  # the letters of the printed sheet
    "difference": "difference",
    "d": "difference",
    "l": "below_resolution",
    "too light": "below_resolution",
    "too light for this scale": "below_resolution",
    "below": "below_resolution",
    "below resolution": "below_resolution",
}
YES, NO = ("yes", "y", "x", "true", "1"), ("", "no", "n", "false", "0")
NUMBERS = ("gross", "tare", "resolution")
_SOME_TIME = datetime(2000, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Scale:
    """What the head of the sheet says of the scale, for lines that leave it empty."""

    unit: str = ""
    resolution: str = ""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A line that can be recorded; `method` is `None` for a pile that was only counted."""

    line: int
    category: str
    name: str
    count: int | None
    method: Method | None
    gross: str
    tare: str
    unit: str
    resolution: str
    bucket: str
    contents_left: bool
    note: str


@dataclass(frozen=True, slots=True)
class SheetProblem:
    """What is wrong with a cell: what was given, and in `message` what is allowed."""

    line: int
    column: str
    given: str
    message: str


class _CellError(Exception):
    """A cell that can't be read."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column
        self.message = message


class LineReader:
    """Reads one line after another with the same list of categories and the same scale."""

    def __init__(self, names: CategoryNames, scale: Scale, decimal_comma: bool) -> None:
        self._names = names
        self._scale = scale
        self._decimal_comma = decimal_comma

    def read(self, row: TableRow) -> SheetRow | list[SheetProblem]:
        """Return the line, or everything that is wrong with it."""
        wrong: list[_CellError] = []
        typed = row
        row = replace(row, cells={column: self._number(column, row[column]) for column in COLUMNS})
        found: dict[str, object] = {}
        for read in (self._beyond, self._category, self._count, self._weighing, self._texts):
            try:
                found.update(read(row))
            except _CellError as error:
                wrong.append(error)
        if not wrong:
            try:
                self._check(row, found)
            except _CellError as error:
                wrong.append(error)
        if wrong:
            return [
                SheetProblem(row.line, each.column, typed[each.column], each.message)
                for each in wrong
            ]
        return SheetRow(line=row.line, **found)  # type: ignore[arg-type]

    def _number(self, column: str, text: str) -> str:
        comma = self._decimal_comma and column in NUMBERS and "." not in text
        return text.replace(",", ".") if comma else text

    def _beyond(self, row: TableRow) -> dict[str, object]:
        if row.beyond:
            raise _CellError(
                "",
                "there are more cells than columns: a number with a decimal comma, or a text that "
                "holds the separator, must stand in quotation marks",
            )
        return {}

    def _category(self, row: TableRow) -> dict[str, object]:
        column = "category" if row["category"] else "name"
        if not row[column]:
            raise _CellError("category", "the line names no category: write its name or id")
        with _cell(column):
            category = self._names.find(row[column])
        if column == "category" and row["name"]:
            with _cell("name"):
                other = self._names.find(row["name"])
            if other.id != category.id:
                raise _CellError(
                    "name",
                    f"category says {category.name} and name says {other.name}: make them agree, "
                    "or leave name empty",
                )
        return {"category": category.id, "name": category.name}

    def _count(self, row: TableRow) -> dict[str, object]:
        if not row["count"]:
            return {"count": None}
        if row["count"] == "0":
            raise _CellError(
                "count",
                "0 were counted, yet the line is filled: leave count empty if they were not "
                "counted, or clear the line",
            )
        with _cell("count"):
            return {"count": parse_count(row["count"])}

    def _weighing(self, row: TableRow) -> dict[str, object]:
        method = METHODS.get(plain(row["method"])) if row["method"] else None
        if row["method"] and method is None:
            raise _CellError(
                "method",
                "the method is not known: write container (C), difference (D) or too light (L)",
            )
        if method is None and row["gross"]:
            method = "container"
        if method is None and row["tare"]:
            raise _CellError("gross", "there is a tare and no gross weight: fill in what was read")
        unit, resolution = "", ""
        if method is not None:
            unit, resolution = self._scale_of(row)
        return {
            "method": method,
            "gross": row["gross"],
            "tare": row["tare"],
            "unit": unit,
            "resolution": resolution,
        }

    def _scale_of(self, row: TableRow) -> tuple[str, str]:
        given_unit = row["unit"] or self._scale.unit
        if not given_unit:
            raise _CellError(
                "unit", f"the unit is missing: write one of {', '.join(Unit)}, or give it for all"
            )
        with _cell("unit"):
            unit = parse_unit(given_unit)
        resolution = row["resolution"] or self._number("resolution", self._scale.resolution)
        if not resolution:
            raise _CellError(
                "resolution",
                "the resolution is missing: write the smallest step that the scale shows, such as "
                "0.02, or give it for all",
            )
        with _cell("resolution"):
            if parse_decimal(resolution, what="resolution") <= 0:
                raise _CellError(
                    "resolution", "the resolution must be above 0: it is the smallest step shown"
                )
        return str(unit), resolution

    def _texts(self, row: TableRow) -> dict[str, object]:
        for column, longest in (("bucket", BUCKET_LENGTH), ("note", NOTE_LENGTH)):
            if len(row[column]) > longest:
                raise _CellError(
                    column, f"it has {len(row[column])} characters: shorten it to {longest}"
                )
            if any(ord(letter) < 32 and letter not in "\r\n\t" for letter in row[column]):
                raise _CellError(column, "it holds characters that can't be shown: type it again")
        left = row["contents_left"].casefold()
        if left not in (*YES, *NO):
            raise _CellError("contents_left", "write yes, or leave it empty")
        return {
            "bucket": row["bucket"],
            "note": row["note"],
            "contents_left": left in YES,
        }

    def _check(self, row: TableRow, found: dict[str, object]) -> None:
        """Refuse a line that records nothing, and a weighing that no scale can have shown."""
        if found["count"] is None and found["method"] is None:
            raise _CellError(
                "count", "nothing was counted and nothing weighed: fill in one, or clear the line"
            )
        if found["method"] is None:
            return
        numbers = {}
        for column in ("gross", "tare"):
            with _cell(column):
                numbers[column] = parse_decimal(row[column], what=column) if row[column] else None
        with _cell("gross"):
            net_mass(
                Weighing(
                    id="",
                    batch_id="",
                    method=found["method"],  # type: ignore[arg-type]
                    gross=numbers["gross"],
                    tare=numbers["tare"],
                    unit=Unit(str(found["unit"])),
                    resolution=parse_decimal(str(found["resolution"]), what="resolution"),
                    tare_resolution=None,
                    capacity=None,
                    contents_left=False,
                    note="",
                    sorter="",
                    at=_SOME_TIME,
                )
            )


@contextmanager
def _cell(column: str) -> Iterator[None]:
    """Turn what the domain says of a value into a problem of its cell."""
    try:
        yield
    except TallytareError as error:
        raise _CellError(column, error.message) from error
