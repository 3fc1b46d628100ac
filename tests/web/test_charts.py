"""The charts: readable without colour, labelled in words, and true to their figures."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET

import pytest
from markupsafe import Markup

from classifier.rules.programme_rules import ROUTES
from service.web.charts import COUNT, WEIGHT, Bar, Part, Row, bar_chart, percent
from service.web.route_marks import ROUTE_MARKS, route_defs, swatch

ROWS = [
    Row("Corrugated cardboard", (Bar((Part("kerbside", 0.4),), "40.0 % · 2.000 kg"),)),
    Row(
        "Rigid plastics of a kind with an unusually long name & <more>",
        (Bar((Part("kerbside", 0.1), Part("residual", 0.05)), "15.0 % · 750 g"),),
    ),
    Row("Foam", (Bar((Part("not-a-route", 0.002),), "0.2 % · 10 g"),)),
]


def pair(label: str, count: float, weight: float | None) -> Row:
    parts = (Part(WEIGHT, weight),) if weight else ()
    return Row(label, (Bar((Part(COUNT, count),), percent(count)), Bar(parts, percent(weight))))


PAIRS = [pair("Paper", 0.3, 0.6), pair("Foam", 0.6, 0.05), pair("Film", 0.1, None)]


def parsed(chart: Markup) -> ET.Element:
    return ET.fromstring(str(chart))


def widths(root: ET.Element) -> list[float]:
    return [float(r.get("width", "").rstrip("%")) for r in root.iter("rect")]


def cells(root: ET.Element) -> list[list[str]]:
    """Return the rows as they are read out: what stands in each cell that holds words."""
    rows = [["".join(cell.itertext()) for cell in row] for row in root.iter("tr")]
    return [[cell for cell in row if cell] for row in rows]


def luminance(colour: str) -> float:
    """Return relative luminance (WCAG 2.2, definition of relative luminance)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_every_route_has_a_mark_and_no_two_share_colour_or_hatch() -> None:
    assert set(ROUTES) <= set(ROUTE_MARKS)
    for one, other in itertools.combinations(ROUTE_MARKS.values(), 2):
        assert one.colour != other.colour
        assert one.hatch != other.hatch


def test_hatching_shows_on_its_ground_also_in_grey() -> None:
    ink = luminance("#1b1f1e")
    for route, mark in ROUTE_MARKS.items():
        ratio = (luminance(mark.colour) + 0.05) / (ink + 0.05)
        assert ratio >= 3, (route, ratio)


def test_colours_are_not_those_that_bins_have() -> None:
    # Okabe and Ito's blue, green and vermilion stand for other routes than bins of that colour.
    assert ROUTE_MARKS["kerbside"].colour not in {"#0072B2", "#56B4E9", "#009E73"}
    assert ROUTE_MARKS["garden_organics"].colour != "#009E73"


def test_patterns_of_all_routes_are_defined_once() -> None:
    ids = re.findall(r'id="route-([a-z_]+)"', route_defs())
    assert sorted(ids) == sorted(ROUTE_MARKS)


def test_unknown_route_is_drawn_as_undecided() -> None:
    assert "route-undecided" in swatch("on the moon")
    assert "route-undecided" in bar_chart(ROWS, "Shares")


def test_bars_are_as_long_as_their_shares_and_hatched_by_route() -> None:
    root = parsed(bar_chart(ROWS, "Shares"))
    assert [r.get("fill") for r in root.iter("rect")] == [
        "url(#route-kerbside)",
        "url(#route-kerbside)",
        "url(#route-residual)",
        "url(#route-undecided)",
    ]
    assert widths(root) == pytest.approx([100, 25, 12.5, 0.5])
    starts = [float(r.get("x", "").rstrip("%")) for r in root.iter("rect")]
    assert starts == pytest.approx([0, 0, 25, 0])


def test_parts_of_a_whole_are_drawn_as_such() -> None:
    """The longest bar is no longer than its share: a third must not look like everything."""
    bars = [Row("Can be recovered", (Bar((Part("kerbside", 0.3),), "30 %"),))]
    assert widths(parsed(bar_chart(bars, "Outcome", whole=1.0))) == pytest.approx([30])


def test_a_chart_has_a_name_and_says_its_figures_row_by_row() -> None:
    root = parsed(bar_chart(ROWS, "Shares"))
    assert (root.tag, root.get("aria-label")) == ("table", "Shares")
    assert cells(root)[0] == ["Corrugated cardboard", "40.0 % · 2.000 kg"]
    assert [th.get("scope") for th in root.iter("th")] == ["row"] * 3
    assert {svg.get("aria-hidden") for svg in root.iter("svg")} == {"true"}


def test_two_bars_of_a_row_have_heads_and_one_scale() -> None:
    root = parsed(bar_chart(PAIRS, "Balance", heads=("count", "weight")))
    assert cells(root) == [
        ["Pile", "share of the count", "share of the weight"],
        ["Paper", "30.0\u00a0%", "60.0\u00a0%"],
        ["Foam", "60.0\u00a0%", "5.0\u00a0%"],
        ["Film", "10.0\u00a0%", "not weighed"],
    ]
    assert widths(root) == pytest.approx([50, 100, 100, 8.33, 16.67])


def test_a_pile_that_was_not_weighed_has_no_bar() -> None:
    root = parsed(bar_chart(PAIRS, "Balance", heads=("count", "weight")))
    assert [r.get("fill") for r in root.iter("rect")].count("currentColor") == 2


def test_a_whisker_is_the_range_and_starts_at_0_at_the_lowest() -> None:
    bars = [
        Row("Food", (Bar((Part(COUNT, 0.3),), "30 %", low=0.2, high=0.4),)),
        Row("Wood", (Bar((Part(COUNT, 0.01),), "1 %", low=-0.02, high=0.04),)),
        Row("Film", (Bar((Part(COUNT, 0.01),), "1 %"),)),
    ]
    food, wood, film = parsed(bar_chart(bars, "Ranges")).iter("svg")
    assert widths(food) == pytest.approx([75])  # the whisker, not the bar, reaches the edge
    line = next(food.iter("line"))
    assert (line.get("x1"), line.get("x2")) == ("50.00%", "100.00%")
    line = next(wood.iter("line"))
    assert (line.get("x1"), line.get("x2")) == ("0.00%", "10.00%")
    assert list(film.iter("line")) == []


def test_labels_are_escaped() -> None:
    chart = bar_chart(ROWS, "A & B")
    assert "&amp;" in chart
    assert "<more>" not in chart
    assert parsed(chart).get("aria-label") == "A & B"


def test_nothing_to_draw_is_drawn_without_error() -> None:
    assert cells(parsed(bar_chart([], "Nothing"))) == []
    assert widths(parsed(bar_chart([pair("Nothing", 0.0, 0.0)], "Nothing"))) == [0.0]


def test_rows_that_are_many_are_folded_on_paper_and_on_a_phone() -> None:
    rows = [pair(str(n), n / 300, n / 300) for n in range(1, 25)]
    shown: dict[str | None, list[str]] = {None: [], "minor": [], "rest": []}
    for row in parsed(bar_chart(rows, "Many", heads=("count", "weight"))).iter("tr"):
        shown[row.get("class")].append("".join(row[0].itertext()))
    assert shown["minor"] == [str(n) for n in range(1, 16)]
    assert shown["rest"] == ["15 smaller piles together"]
    assert shown[None] == ["Pile", *(str(n) for n in range(16, 25))]


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (None, "not weighed"),
        (0.0, "0.0\u00a0%"),
        (0.0004, "under 0.1\u00a0%"),
        (0.125, "12.5\u00a0%"),
        (1, "100.0\u00a0%"),
    ],
)
def test_percent(share: float | None, words: str) -> None:
    assert percent(share) == words
