"""Field sheets that nobody would write: every file is read, or refused with a sentence."""

from __future__ import annotations

import csv
from contextlib import suppress
from io import StringIO

from hypothesis import given
from hypothesis import strategies as st

from classifier.csv_text import csv_text
from classifier.errors import InvalidEntryError
from classifier.rules.categories import load_categories
from classifier.sheet.read import read_sheet
from classifier.sheet.table import COLUMNS

CATEGORIES = load_categories()
IDS = [category.id for category in CATEGORIES.categories]
NAMES = {category.id: category.name for category in CATEGORIES.categories}

cells = st.sampled_from(
    [
        "",
        "food",
        "Steel cans",
        "3",
        "0",
        "1.25",
        "1,25",
        "1,250",
        "-1",
        "kg",
        "stone",
        "yes",
        "x",
        "=",
    ]
) | st.text(max_size=12)
readings = st.integers(1, 99_999).map(lambda n: f"{n / 1000:.3f}")


@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    with suppress(InvalidEntryError):
        found = read_sheet(data, CATEGORIES)
        assert not {row.line for row in found.rows} & {each.line for each in found.problems}


@given(st.lists(st.lists(cells, max_size=13), max_size=6), st.sampled_from([",", ";", "\t"]))
def test_any_cells_are_good_lines_or_named_problems(lines: list[list[str]], separator: str) -> None:
    text = StringIO()
    csv.writer(text, delimiter=separator).writerows([COLUMNS, *lines])
    data = text.getvalue().encode("utf-8", "replace")
    try:
        found = read_sheet(data, CATEGORIES)
    except InvalidEntryError:
        return
    good, bad = {row.line for row in found.rows}, {each.line for each in found.problems}
    assert not good & bad
    assert not (good | bad) & set(found.blank)
    assert all(each.message for each in found.problems)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(IDS), st.none() | st.integers(1, 100_000), readings, st.booleans()
        ),
        min_size=1,
        max_size=8,
    ),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    st.booleans(),
)
def test_what_was_written_is_what_is_read(
    lines: list[tuple[str, int | None, str, bool]], encoding: str, comma: bool
) -> None:
    def number(reading: str) -> str:
        return reading.replace(".", ",") if comma else reading

    text = csv_text(
        COLUMNS,
        (
            [name if by_id else "", NAMES[name], count, number(reading), "", "kg", number("0.001")]
            + [""] * 4
            for name, count, reading, by_id in lines
        ),
    )
    found = read_sheet(text.encode(encoding), CATEGORIES)
    assert found.problems == ()
    assert [(row.category, row.count, row.gross) for row in found.rows] == [
        (name, count, reading) for name, count, reading, _ in lines
    ]
    assert found.decimal_comma is comma
