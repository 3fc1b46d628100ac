"""Contrast of the palette by WCAG 2.2 (success criteria 1.4.3 and 1.4.11), light and dark."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from tests.web.test_charts import luminance

TEXT = 4.5
BOUNDARY = 3.0
PAIRS = [
    ("ink", "paper", TEXT),
    ("ink", "sheet", TEXT),
    ("ink-soft", "paper", TEXT),
    ("ink-soft", "sheet", TEXT),
    ("ink", "good-ground", TEXT),
    ("ink-soft", "good-ground", TEXT),
    ("on-carbon", "carbon", TEXT),
    ("link", "paper", TEXT),
    ("link", "sheet", TEXT),
    ("stop", "stop-ground", TEXT),
    ("stop", "sheet", TEXT),
    ("note", "note-ground", TEXT),
    ("good", "good-ground", TEXT),
    ("good", "sheet", TEXT),
    ("rule", "sheet", BOUNDARY),
    ("rule", "paper", BOUNDARY),
    ("focus", "sheet", BOUNDARY),
    ("focus", "paper", BOUNDARY),
]


def palettes() -> dict[str, dict[str, str]]:
    text = (files("service.web") / "static" / "tokens.css").read_text(encoding="utf-8")
    light, dark = text.split("@media (prefers-color-scheme: dark)")
    named = re.compile(r"--([a-z-]+):\s*(#[0-9a-f]{6})")
    return {"light": dict(named.findall(light)), "dark": dict(named.findall(dark))}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("front", "ground", "least"), PAIRS)
def test_contrast(scheme: str, front: str, ground: str, least: float) -> None:
    colours = palettes()[scheme]
    bright, dim = sorted((luminance(colours[front]), luminance(colours[ground])), reverse=True)
    assert (bright + 0.05) / (dim + 0.05) >= least


def test_both_schemes_name_the_same_colours() -> None:
    assert palettes()["light"].keys() == palettes()["dark"].keys()


def test_no_other_colours_hide_in_the_style_sheets() -> None:
    allowed = {"#101312", "#ffffff", "#fffdf6"}  # camera stage and chart paper, the same in both
    static = files("service.web") / "static"
    for name in ("base.css", "sorting.css", "piles.css", "guide.css", "report.css"):
        text = (static / name).read_text(encoding="utf-8").split("@media print")[0]
        assert set(re.findall(r"#[0-9a-fA-F]{6}\b", text)) <= allowed, name
