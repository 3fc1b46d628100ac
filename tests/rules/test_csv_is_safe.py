"""Every CSV that leaves the service is safe to open in a spreadsheet: one place knows how."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ONE_PLACE = ROOT / "classifier" / "csv_text.py"
WRITERS = [
    path
    for package in ("classifier", "service")
    for path in sorted((ROOT / package).rglob("*.py"))
    if "csv.writer(" in path.read_text("utf-8") or "csv.DictWriter(" in path.read_text("utf-8")
]


def test_the_one_place_is_among_them() -> None:
    assert ONE_PLACE in WRITERS


@pytest.mark.parametrize("path", WRITERS, ids=lambda path: path.name)
def test_whoever_writes_csv_makes_its_texts_safe(path: Path) -> None:
    text = path.read_text("utf-8")
    assert path == ONE_PLACE or "safe_cell(" in text, "use csv_text, or safe_cell for each text"
