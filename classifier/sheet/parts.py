"""What a field sheet is made of: the scale named in its head, good lines and problems."""

from __future__ import annotations

from dataclasses import dataclass

from classifier.log.records import Method


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
