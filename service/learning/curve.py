"""Two curves over confirmations: the shipped model and what was learned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from classifier.learning.score import running_mean

_MOST_POINTS = 240


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


def curve_chart(found: Curves) -> Markup:
    """Draw both curves, which differ in stroke and not in colour; words and figures stand around.

    The drawing is stretched to its place, the strokes are not.
    """
    most = _ceiling(max([*found.shipped, *found.learned, 0.5]))
    ends = found.shipped[-1], found.learned[-1]
    words = (
        f"Mean log loss of the confirmed pile, before it was learned from. After {found.at[-1]} "
        f"confirmed photos: original model {ends[0]:.2f}, with learning {ends[1]:.2f}; lower is "
        "better."
    )
    drawn = "".join(f'<path d="M0 {y}H100" {_stroke(0.4)}/>' for y in (0, 50))
    drawn += _line(found.at, found.shipped, most, _DASHED) + _line(
        found.at, found.learned, most, _SOLID
    )
    return Markup(
        '<div class="curve" role="img" aria-label="{}">'
        '<p class="keys"><span>log loss (nats)</span> {} {}</p>'
        '<div class="scale"><span>{:g}</span><span>{:g}</span><span>0</span></div>'
        '<svg viewBox="0 0 100 100" preserveAspectRatio="none" aria-hidden="true">{}</svg>'
        '<div class="ends"><span>1</span><span>photos confirmed so far</span><span>{}</span></div>'
        "</div>"
    ).format(
        words,
        _key("original model", ends[0], _DASHED),
        _key("with learning", ends[1], _SOLID),
        most,
        most / 2,
        Markup(drawn),
        max(found.at[-1], 2),
    )


def _ceiling(most: float) -> float:
    """Return a round value a little above the highest point."""
    step = 0.5 if most <= 3 else 1.0
    return step * (int(most / step) + 1)


def _stroke(width: float, more: str = "") -> str:
    return (
        f'fill="none" stroke="currentColor" stroke-width="{width}" '
        f'vector-effect="non-scaling-stroke"{more}'
    )


_DASHED = _stroke(1.5, ' stroke-dasharray="5 4"')
_SOLID = _stroke(3)


def _line(at: Sequence[int], losses: Sequence[float], most: float, stroke: str) -> str:
    last = max(at[-1], 2)
    places = [
        f"{100 * (count - 1) / (last - 1):.2f} {100 - 100 * loss / most:.2f}"
        for count, loss in zip(at, losses, strict=True)
    ]
    return f'<path d="M{"L".join(places)}{"h1" if len(places) == 1 else ""}" {stroke}/>'


def _key(name: str, last: float, stroke: str) -> Markup:
    return Markup(
        '<span class="key"><svg viewBox="0 0 28 10"><path d="M0 5H28" {}/></svg> {} {:.2f}</span>'
    ).format(Markup(stroke), name, last)
