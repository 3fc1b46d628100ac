"""The kept coverage table is that of the simulation: a few lines of it, drawn again."""

from __future__ import annotations

import sys
from dataclasses import replace

import pytest

from classifier.study.coverage import class_of, load_coverage, nearest, shortfalls
from classifier.study.dictionary import MEASURES
from tests import coverage_table
from tests.coverage_table import LINES, Line, as_toml, coverage

STUDIES = 400
KEPT = {(row.measure, row.n): row for row in load_coverage().rows}


def test_every_line_is_kept_with_2000_studies() -> None:
    assert load_coverage().studies == 2000
    assert set(KEPT) == {(line.measure, n) for line in LINES for n in line.sizes}
    assert {measure for measure, _ in KEPT} - {"share_strata"} <= set(MEASURES)


@pytest.mark.parametrize("line", LINES, ids=lambda line: line.measure)
def test_a_quick_simulation_finds_what_is_kept(line: Line) -> None:
    """400 of the 2,000 seeded studies: two standard errors of a class are 4 points at most."""
    n = line.sizes[1]
    found = coverage(line, n, STUDIES)
    for name, value in KEPT[line.measure, n].coverage.items():
        assert found[name] == pytest.approx(value, abs=4.5)


def test_the_row_next_below_is_quoted_or_the_smallest() -> None:
    table = load_coverage()
    rows = [nearest(table, "share_mean", n) for n in (3, 5, 19, 20, 5000)]
    assert [row.n for row in rows if row] == [5, 5, 10, 20, 100]
    assert nearest(table, "objects", 20) is None


def test_only_what_falls_short_is_quoted() -> None:
    quoted = {row.measure for row in shortfalls({"share_mean": 20, "objects": 20})}
    assert quoted == {"share_mean"}
    assert not list(shortfalls({"photographed_items_corrected": 100}))


@pytest.mark.parametrize(
    ("found", "n", "kind"),
    [(20, 20, "always"), (19, 20, "always"), (10, 20, "often"), (9, 20, "rare"), (0, 0, "rare")],
)
def test_classes_by_how_many_sorts_have_it(found: int, n: int, kind: str) -> None:
    assert class_of(found, n) == kind


def test_the_command_prints_and_writes(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    few = (replace(LINES[0], sizes=(5,)),)
    monkeypatch.setattr(coverage_table, "LINES", few)
    monkeypatch.setattr(sys, "argv", ["coverage_table", "--studies", "20"])
    assert coverage_table.main() == 0
    assert "t interval of the mean of sample shares | 5 |" in capsys.readouterr().out
    kept = as_toml([(few[0], 5, {"always": 90.0})], 20)
    assert "studies = 20" in kept
