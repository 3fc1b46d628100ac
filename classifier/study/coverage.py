"""How often the intervals held the truth in simulated studies: measured, kept as data.

`python -m tests.coverage_table --write` makes the file again.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

SHIPPED = Path(__file__).with_name("data") / "coverage.toml"
TOLERANCE_POINTS = 1.5


@dataclass(frozen=True, slots=True)
class Coverage:
    """Coverage in per cent of one interval with `n` sorts (or audits), by class of category.

    A category is found in nearly every sort ("always"), in half of them or more ("often") or in
    fewer ("rare").
    """

    measure: str
    words: str
    level: float
    n: int
    coverage: dict[str, float]


@dataclass(frozen=True, slots=True)
class CoverageTable:
    """All rows, with how they were made."""

    studies: int
    made_with: str
    rows: tuple[Coverage, ...]


@lru_cache(maxsize=1)
def load_coverage(path: Path = SHIPPED) -> CoverageTable:
    """Read the table; it is our own file, held by a test."""
    found = tomllib.loads(path.read_text(encoding="utf-8"))
    rows = tuple(Coverage(**row) for row in found["row"])
    return CoverageTable(found["studies"], found["made_with"], rows)


def class_of(found_in: int, n: int) -> str:
    """Return the class of a category that `found_in` of `n` sorts have."""
    share = found_in / n if n else 0.0
    return "always" if share >= 0.95 else "often" if share >= 0.5 else "rare"


def nearest(table: CoverageTable, measure: str, n: int) -> Coverage | None:
    """Return the row of a measure whose number of sorts is next below n, else the smallest."""
    rows = sorted((row for row in table.rows if row.measure == measure), key=lambda row: row.n)
    below = [row for row in rows if row.n <= n]
    return below[-1] if below else rows[0] if rows else None


def shortfalls(numbers: Mapping[str, int]) -> Iterator[Coverage]:
    """Yield the rows that fall short of their level by more than the tolerance in some class.

    `numbers` gives the n behind each measure: sorts, households or audits.
    """
    table = load_coverage()
    for measure, n in numbers.items():
        row = nearest(table, measure, n)
        if row is not None and min(row.coverage.values()) < 100 * row.level - TOLERANCE_POINTS:
            yield row
