"""The charts: readable without colour, labelled in words, and true to their figures."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET

import pytest
from markupsafe import Markup

from classifier.rules.programme_rules import ROUTES
from service.web.charts import (
    LETTER,
    NARROW,
    WIDE,
    Bar,
    Pair,
    Part,
    outcome_chart,
    pair_chart,
    percent,
    weight_chart,
)
from service.web.route_marks import ROUTE_MARKS, route_defs, swatch

SVG = "{http://www.w3.org/2000/svg}"
BARS = [
    Bar("Corrugated cardboard", (Part("kerbside", 0.4),), "40.0 % · 2.000 kg · Kerbside recycling"),
    Bar(
        "Rigid plastics of a kind with an unusually long name & <more>",
        (Part("kerbside", 0.1), Part("residual", 0.05)),
        "15.0 % · 750 g · Kerbside recycling / Residual waste",
    ),
    Bar("Foam", (Part("not-a-route", 0.002),), "0.2 % · 10 g · not settled"),
]
PAIRS = [Pair("Paper", 0.3, 0.6), Pair("Foam", 0.6, 0.05), Pair("Film", 0.1, None)]


def parsed(svg: Markup) -> ET.Element:
    return ET.fromstring(str(svg))


def texts(root: ET.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


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
    assert "route-undecided" in weight_chart(BARS)


@pytest.mark.parametrize("narrow", [False, True])
def test_bars_are_as_long_as_their_shares(narrow: bool) -> None:
    root = parsed(weight_chart(BARS, narrow=narrow))
    rects = [r for r in root.iter(f"{SVG}rect") if r.get("fill", "").startswith("url(#route-")]
    widths = [float(r.get("width", "0")) for r in rects]
    assert [r.get("fill") for r in rects] == [
        "url(#route-kerbside)",
        "url(#route-kerbside)",
        "url(#route-residual)",
        "url(#route-undecided)",
    ]
    assert widths[1] / widths[0] == pytest.approx(0.1 / 0.4, abs=0.01)
    assert widths[2] / widths[0] == pytest.approx(0.05 / 0.4, abs=0.01)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("chart", ["weight", "pairs"])
def test_words_stay_within_the_drawing(chart: str, narrow: bool) -> None:
    svg = (
        weight_chart(BARS, narrow=narrow) if chart == "weight" else pair_chart(PAIRS, narrow=narrow)
    )
    root = parsed(svg)
    _, _, width, height = (float(n) for n in root.get("viewBox", "").split())
    assert width == (NARROW if narrow else WIDE)
    for element in root.iter(f"{SVG}text"):
        x, y, length = (
            float(element.get("x", 0)),
            float(element.get("y", 0)),
            len(element.text or ""),
        )
        start = x - length * LETTER if element.get("text-anchor") == "end" else x
        assert start >= -1, element.text
        assert start + length * LETTER <= width + 1, element.text
        assert 0 < y <= height


@pytest.mark.parametrize("narrow", [False, True])
def test_charts_have_a_title_and_say_their_figures(narrow: bool) -> None:
    for svg in (weight_chart(BARS, narrow=narrow), pair_chart(PAIRS, narrow=narrow)):
        root = parsed(svg)
        assert root.get("role") == "img"
        named = {element.get("id") for element in root}
        assert set((root.get("aria-labelledby") or "").split()) <= named
        desc = root.find(f"{SVG}desc")
        assert desc is not None
        assert desc.text
        assert "%" in desc.text


def test_labels_are_escaped() -> None:
    svg = weight_chart(BARS)
    assert "&amp;" in svg
    assert "<more>" not in svg


def test_pile_not_weighed_has_no_bar_and_says_so() -> None:
    root = parsed(pair_chart(PAIRS))
    assert "not weighed" in texts(root)
    filled = [r for r in root.iter(f"{SVG}rect") if r.get("fill") == "#1b1f1e"]
    assert len(filled) == 2


def test_nothing_to_draw_is_drawn_without_error() -> None:
    assert "<svg" in weight_chart([])
    assert "<svg" in outcome_chart([])
    assert "<svg" in pair_chart([Pair("Nothing", 0.0, 0.0)])


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


@pytest.mark.parametrize(("narrow", "whole"), [(False, 240.0), (True, NARROW - 4)])
def test_outcomes_are_drawn_as_parts_of_one_whole(narrow: bool, whole: float) -> None:
    """The longest bar is no longer than its share: a third must not look like everything."""
    bars = [Bar("Can be recovered", (Part("kerbside", 0.3),), "30 %")]
    root = parsed(outcome_chart(bars, narrow=narrow))
    (width,) = [float(each.get("width", "0")) for each in root.iter(f"{SVG}rect")]
    assert width == pytest.approx(0.3 * whole, abs=0.1)
    assert "30 %" in texts(root)
