"""Two curves over confirmations as SVG: the shipped model and what was learned."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup, escape

from classifier.learning.score import running_mean
from service.web.route_marks import INK

WIDE, NARROW = 720, 340
_HEIGHT = 250
_SIZE = 13
_MOST_POINTS = 240
_TOP, _BOTTOM = 26.0, 40.0


@dataclass(frozen=True, slots=True)
class Curves:
    """Mean losses (nats) of the last `window` confirmations at each of the counts `at`."""

    window: int
    at: tuple[int, ...]
    shipped: tuple[float, ...]
    learned: tuple[float, ...]


def curves(shipped: Sequence[float], learned: Sequence[float], *, window: int = 50) -> Curves:
    """Smooth two series of losses of the same length, thinned to what a chart can show."""
    count = len(shipped)
    step = max(1, -(-count // _MOST_POINTS))
    at = sorted({*range(step, count + 1, step), count} - {0})
    places = [each - 1 for each in at]
    means = [
        running_mean(np.array(losses, dtype=np.float64), window) for losses in (shipped, learned)
    ]
    return Curves(
        window=window,
        at=tuple(at),
        shipped=tuple(means[0][places].tolist()) if count else (),
        learned=tuple(means[1][places].tolist()) if count else (),
    )


def milestones(found: Curves) -> list[tuple[int, float, float]]:
    """Return the figures of a few counts, the last among them, for the table under the chart."""
    wanted = [1, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000]
    last = found.at[-1] if found.at else 0
    places = {
        min(range(len(found.at)), key=lambda i: abs(found.at[i] - each))
        for each in (*(each for each in wanted if each < last), last)
        if found.at
    }
    return [(found.at[i], found.shipped[i], found.learned[i]) for i in sorted(places)]


def curve_chart(found: Curves, *, narrow: bool = False) -> Markup:
    """Draw both curves; each is named at its end and differs in stroke, not in colour."""
    width = NARROW if narrow else WIDE
    left, right = 34.0, 112.0 if narrow else 130.0
    most = _ceiling(max([*found.shipped, *found.learned, 0.5]))
    last = max(found.at[-1], 2) if found.at else 2

    def x(count: int) -> float:
        return left + (width - left - right) * (count - 1) / (last - 1)

    def y(loss: float) -> float:
        return _HEIGHT - _BOTTOM - (_HEIGHT - _TOP - _BOTTOM) * loss / most

    drawn = _axes(x, y, most, last, width - right)
    ends = _apart(y(found.shipped[-1]), y(found.learned[-1]))
    drawn += _line(
        [(x(n), y(v)) for n, v in zip(found.at, found.shipped, strict=True)], dashed=True
    )
    drawn += _line([(x(n), y(v)) for n, v in zip(found.at, found.learned, strict=True)])
    drawn += _text(width - right + 8, ends[0] + 4, "original model")
    drawn += _text(width - right + 8, ends[1] + 4, "with learning", bold=True)
    kind = "narrow" if narrow else "wide"
    words = (
        f"After {found.at[-1]} confirmed photos: original model {found.shipped[-1]:.2f}, with "
        f"learning {found.learned[-1]:.2f}; lower is better."
    )
    return Markup(
        f'<svg viewBox="0 0 {width} {_HEIGHT}" role="img" '
        f'aria-labelledby="curve-{kind}-title curve-{kind}-desc" '
        'xmlns="http://www.w3.org/2000/svg">'
        f'<title id="curve-{kind}-title">Log loss before learning from each photo</title>'
        f'<desc id="curve-{kind}-desc">{escape(words)}</desc>{drawn}</svg>'
    )


def _ceiling(most: float) -> float:
    """Return a round value a little above the highest point."""
    step = 0.5 if most <= 3 else 1.0
    return step * (int(most / step) + 1)


def _axes(
    x: Callable[[int], float], y: Callable[[float], float], most: float, last: int, edge: float
) -> str:
    drawn = _text(4, 14, "log loss (nats)")
    for i in range(3):
        value = most * i / 2
        drawn += (
            f'<path d="M{x(1):.1f} {y(value):.1f}H{edge:.1f}" stroke="{INK}" '
            f'stroke-width="{1.5 if i == 0 else 0.4}"/>'
        )
        drawn += _text(x(1) - 6, y(value) + 4, f"{value:g}", anchor="end")
    for count in (1, last):
        anchor = "start" if count == 1 else "end"
        drawn += _text(x(count), y(0) + 17, str(count), anchor=anchor)
    return drawn + _text((x(1) + edge) / 2, y(0) + 32, "photos confirmed so far", anchor="middle")


def _apart(one: float, other: float) -> tuple[float, float]:
    """Move two labels apart so that both can be read."""
    gap = 17 - abs(one - other)
    if gap <= 0:
        return one, other
    sign = 1 if one > other else -1
    return one + sign * gap / 2, other - sign * gap / 2


def _line(points: list[tuple[float, float]], *, dashed: bool = False) -> str:
    path = "M" + "L".join(f"{px:.1f} {py:.1f}" for px, py in points)
    if len(points) == 1:
        path += "h1"
    stroke = 'stroke-width="1.5" stroke-dasharray="5 4"' if dashed else 'stroke-width="3"'
    return f'<path d="{path}" fill="none" stroke="{INK}" stroke-linejoin="round" {stroke}/>'


def _text(x: float, y: float, words: str, *, anchor: str = "start", bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{_SIZE}" '
        f'fill="{INK}"{weight}>{escape(words)}</text>'
    )
