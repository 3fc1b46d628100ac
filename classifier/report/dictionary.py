"""The data dictionary of the report's CSV file: every column and every measure with its unit."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Entry:
    """A column of the CSV file, or (`kind` is "measure") one value of its column `measure`."""

    kind: str
    name: str
    type: str
    unit: str
    meaning: str


def read_own_csv(path: Path) -> list[dict[str, str]]:
    """Return the rows of a table of our own, which tests hold, by their headings."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


ENTRIES = tuple(
    Entry(**row) for row in read_own_csv(Path(__file__).with_name("data") / "dictionary.csv")
)
DATA_DICTIONARY = tuple(each for each in ENTRIES if each.kind == "column")
MEASURES = tuple(each for each in ENTRIES if each.kind == "measure")
