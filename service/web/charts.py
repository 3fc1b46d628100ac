"""Charts as SVG, built here so that they print, need no script and can be read in grey.

Every bar is labelled with its own words; no legend must be consulted. Each chart exists in a wide
drawing for the desk and for paper and in a narrow one for a phone, since letters that shrink with
the drawing could not be read there. The page shows one of them and, always, the same figures as a
table. Paper gets a wide drawing of its own, with fewer bars.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from service.web.route_marks import INK, ROUTE_MARKS

WIDE = 720
NARROW = 340
LETTER = 7.1  # px of an average letter at the size used, a little too wide to be safe
_SIZE = 13
_GAP = "\u00a0"  # a figure and its sign are never parted at a line's end
_LINE = 16


@dataclass(frozen=True, slots=True)
class Part:
    """One route's part of a bar; `share` is a fraction of the whole, 0 to 1."""

    route: str
    share: float


@dataclass(frozen=True, slots=True)
class Bar:
    """One category: its parts by route and the words that stand at its end."""

    label: str
    parts: tuple[Part, ...]
    words: str

    @property
    def share(self) -> float:
        """The whole bar."""
        return sum(part.share for part in self.parts)


@dataclass(frozen=True, slots=True)
class Pair:
    """One category's share of the count beside its share of the weight, None if not weighed."""

    label: str
    count_share: float
    weight_share: float | None


def percent(share: float | None) -> str:
    """Return a share as a reader writes it; None is a pile that was not weighed."""
    if share is None:
        return "not weighed"
    if 0 < share < 0.001:
        return f"under 0.1{_GAP}%"
    return f"{100 * share:.1f}{_GAP}%"


def draw_text(x: float, y: float, words: str, *, anchor: str = "start", bold: bool = False) -> str:
    """Return a line of text; `anchor` is what of it stands at x."""
    weight = ' font-weight="700"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{_SIZE}" '
        f'fill="{INK}"{weight}>{escape(words)}</text>'
    )


def draw_rect(x: float, y: float, width: float, height: float, fill: str) -> str:
    """Return an outlined bar."""
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}" height="{height:.1f}" '
        f'fill="{fill}" stroke="{INK}" stroke-width="1"/>'
    )


def draw_frame(ident: str, size: tuple[float, float], title: str, desc: str, inner: str) -> Markup:
    """Return a whole drawing, with what a screen reader says of it."""
    width, height = size
    return Markup(
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
        f'aria-labelledby="{ident}-title {ident}-desc" xmlns="http://www.w3.org/2000/svg">'
        f'<title id="{ident}-title">{escape(title)}</title>'
        f'<desc id="{ident}-desc">{escape(desc)}</desc>{inner}</svg>'
    )


def _fill(route: str) -> str:
    return f"url(#route-{route if route in ROUTE_MARKS else 'undecided'})"


def _parts(bar: Bar, x: float, y: float, scale: float) -> tuple[str, float]:
    drawn = ""
    for part in bar.parts:
        width = part.share * scale
        drawn += draw_rect(x, y, width, 15, _fill(part.route))
        x += width
    return drawn, x


def wrapped(label: str, width: float) -> list[str]:
    """Return the lines of a label that fit a width in px."""
    return textwrap.wrap(label, int(width / LETTER)) or [""]


def _weight_wide(bars: Sequence[Bar], scale: float) -> tuple[str, float]:
    label_width = 205.0
    drawn, y = "", 4.0
    for bar in bars:
        lines = wrapped(bar.label, label_width)
        words = wrapped(bar.words, WIDE - label_width - 20 - bar.share * scale)
        parts, end = _parts(bar, label_width + 8, y + 1, scale)
        drawn += parts
        for i, line in enumerate(lines):
            drawn += draw_text(label_width, y + 13 + i * _LINE, line, anchor="end")
        for i, line in enumerate(words):
            drawn += draw_text(end + 8, y + 13 + i * _LINE, line, bold=False)
        y += max(len(lines), len(words)) * _LINE + 8
    axis = label_width + 8
    drawn += f'<path d="M{axis:.1f} 0V{y:.1f}" stroke="{INK}" stroke-width="1.5"/>'
    return drawn, y


def _weight_narrow(bars: Sequence[Bar], scale: float) -> tuple[str, float]:
    drawn, y = "", 2.0
    for bar in bars:
        for line in wrapped(bar.label, NARROW):
            drawn += draw_text(2, y + 13, line, bold=True)
            y += _LINE
        for line in wrapped(bar.words, NARROW):
            drawn += draw_text(2, y + 13, line)
            y += _LINE
        parts, _ = _parts(bar, 2, y + 3, scale)
        drawn += parts
        y += 30
    return drawn, y


def weight_chart(bars: Sequence[Bar], *, ident: str = "weight", narrow: bool = False) -> Markup:
    """Draw weight shares by category, each bar filled with the patterns of its routes."""
    most = max((bar.share for bar in bars), default=1.0)
    scale = ((NARROW - 4) if narrow else 240.0) / most
    title = "Share of the weight by category, hatched by route"
    return _bar_chart(bars, scale, ident=ident, title=title, narrow=narrow)


def outcome_chart(bars: Sequence[Bar], *, ident: str = "outcome", narrow: bool = False) -> Markup:
    """Draw what can be recovered beside what can't, each as its part of the whole.

    All bars together are as long as one that stands for everything, so that lengths compare.
    """
    scale = (NARROW - 4) if narrow else 240.0
    title = "What can be recovered and what can not, hatched by route"
    return _bar_chart(bars, scale, ident=ident, title=title, narrow=narrow)


def _bar_chart(
    bars: Sequence[Bar], scale: float, *, ident: str, title: str, narrow: bool
) -> Markup:
    drawn, height = (_weight_narrow if narrow else _weight_wide)(bars, scale)
    width = NARROW if narrow else WIDE
    desc = "; ".join(f"{bar.label}: {bar.words}" for bar in bars)
    return draw_frame(
        f"{ident}-{'narrow' if narrow else 'wide'}", (width, height), title, desc, drawn
    )


_COUNT_FILL = "url(#count-hatch)"
_WEIGHT_FILL = INK


def _pairs_wide(pairs: Sequence[Pair], most: float) -> tuple[str, float]:
    left, arm, number = 205.0, 165.0, 85.0
    axis = left + number + arm
    scale = arm / most
    drawn = draw_text(axis - 6, 14, "share of the count", anchor="end", bold=True)
    drawn += draw_text(axis + 6, 14, "share of the weight", bold=True)
    y = 24.0
    for pair in pairs:
        lines = wrapped(pair.label, left)
        for i, line in enumerate(lines):
            drawn += draw_text(left, y + 13 + i * _LINE, line, anchor="end")
        count = pair.count_share * scale
        drawn += draw_rect(axis - count, y + 1, count, 15, _COUNT_FILL)
        drawn += draw_text(axis - count - 6, y + 13, percent(pair.count_share), anchor="end")
        weight = (pair.weight_share or 0) * scale
        if weight:
            drawn += draw_rect(axis, y + 1, weight, 15, _WEIGHT_FILL)
        drawn += draw_text(axis + weight + 6, y + 13, percent(pair.weight_share))
        y += len(lines) * _LINE + 8
    drawn += f'<path d="M{axis:.1f} 20V{y:.1f}" stroke="{INK}" stroke-width="2"/>'
    return drawn, y


def _pairs_narrow(pairs: Sequence[Pair], most: float) -> tuple[str, float]:
    scale = (NARROW - 150) / most
    drawn, y = "", 2.0
    for pair in pairs:
        for line in wrapped(pair.label, NARROW):
            drawn += draw_text(2, y + 13, line, bold=True)
            y += _LINE
        for share, word, fill in (
            (pair.count_share, "count", _COUNT_FILL),
            (pair.weight_share, "weight", _WEIGHT_FILL),
        ):
            drawn += draw_text(2, y + 14, word)
            if share:
                drawn += draw_rect(52, y + 3, share * scale, 13, fill)
            drawn += draw_text(58 + (share or 0) * scale, y + 14, percent(share))
            y += 19
        y += 8
    return drawn, y


def pair_chart(pairs: Sequence[Pair], *, ident: str = "pairs", narrow: bool = False) -> Markup:
    """Draw each category's share of the count beside its share of the weight, like a balance."""
    most = max((max(p.count_share, p.weight_share or 0) for p in pairs), default=1.0) or 1.0
    drawn, height = _pairs_narrow(pairs, most) if narrow else _pairs_wide(pairs, most)
    desc = "; ".join(
        f"{pair.label}: {percent(pair.count_share)} of the count, {percent(pair.weight_share)}"
        + ("" if pair.weight_share is None else " of the weight")
        for pair in pairs
    )
    return draw_frame(
        f"{ident}-{'narrow' if narrow else 'wide'}",
        (NARROW if narrow else WIDE, height),
        "Share of the count beside share of the weight, by category",
        desc,
        drawn,
    )
