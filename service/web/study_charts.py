"""Charts of a study as SVG: a bar for the estimate, a whisker for the range it likely lies in.

Like `service.web.charts` they are labelled bar by bar, print in grey, and exist in a wide drawing
and a narrow one for a phone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.web.charts import LETTER, NARROW, WIDE, draw_frame, draw_rect, draw_text, wrapped
from service.web.route_marks import INK, ROUTE_MARKS

_LINE = 16
_PLAIN = "url(#count-hatch)"


@dataclass(frozen=True, slots=True)
class RangeBar:
    """One line: its label, the share with its range (fractions), words, and a route's pattern."""

    label: str
    share: float
    low: float | None
    high: float | None
    words: str
    route: str = ""


def range_chart(
    bars: Sequence[RangeBar], *, ident: str, title: str, narrow: bool = False
) -> Markup:
    """Draw shares with whiskers; a lower end below 0 is drawn to the axis and told in words."""
    most = max((max(bar.share, bar.high or 0.0) for bar in bars), default=0.0) or 1.0
    drawn, height = _narrow(bars, most) if narrow else _wide(bars, most)
    desc = "; ".join(f"{bar.label}: {bar.words}" for bar in bars)
    return draw_frame(
        f"{ident}-{'narrow' if narrow else 'wide'}",
        (NARROW if narrow else WIDE, height),
        title,
        desc,
        drawn,
    )


def _bar(bar: RangeBar, x: float, y: float, scale: float) -> str:
    fill = f"url(#route-{bar.route})" if bar.route in ROUTE_MARKS else _PLAIN
    drawn = draw_rect(x, y, max(bar.share, 0.0) * scale, 15, fill)
    if bar.low is None or bar.high is None:
        return drawn
    low, high = x + max(bar.low, 0.0) * scale, x + bar.high * scale
    middle = y + 7.5
    # White under black, so that the whisker is seen on the bar as well as beside it.
    for colour, width in (("#fffdf6", 5), (INK, 2)):
        drawn += (
            f'<path d="M{low:.1f} {middle:.1f}H{high:.1f}M{low:.1f} {middle - 5:.1f}v10'
            f'M{high:.1f} {middle - 5:.1f}v10" stroke="{colour}" stroke-width="{width}" '
            'fill="none"/>'
        )
    return drawn


def _wide(bars: Sequence[RangeBar], most: float) -> tuple[str, float]:
    left, arm = 205.0, 270.0
    axis, scale = left + 8, arm / most
    drawn, y = "", 4.0
    for bar in bars:
        lines = wrapped(bar.label, left)
        for i, line in enumerate(lines):
            drawn += draw_text(left, y + 13 + i * _LINE, line, anchor="end")
        drawn += _bar(bar, axis, y + 1, scale)
        end = axis + max(bar.share, bar.high or 0.0) * scale + 8
        words = wrapped(bar.words, max(WIDE - end, 20 * LETTER))
        for i, line in enumerate(words):
            drawn += draw_text(end, y + 13 + i * _LINE, line)
        y += max(len(lines), len(words)) * _LINE + 8
    drawn += f'<path d="M{axis:.1f} 0V{y:.1f}" stroke="{INK}" stroke-width="1.5"/>'
    return drawn, y


def _narrow(bars: Sequence[RangeBar], most: float) -> tuple[str, float]:
    scale = (NARROW - 6) / most
    drawn, y = "", 2.0
    for bar in bars:
        for line in wrapped(bar.label, NARROW):
            drawn += draw_text(2, y + 13, line, bold=True)
            y += _LINE
        for line in wrapped(bar.words, NARROW):
            drawn += draw_text(2, y + 13, line)
            y += _LINE
        drawn += _bar(bar, 2, y + 3, scale)
        y += 30
    return drawn, y
