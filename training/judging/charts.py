"""Charts of an evaluation as SVG: no script, no colour needed, 340 px wide so a phone shows them.

Each function takes plain figures and returns one drawing; the page shows the same figures as a
table beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from classifier.estimators.abstention import RiskCoverage
from classifier.estimators.calibration import Reliability

_WIDTH, _HEIGHT = 340, 320
_LEFT, _TOP, _SIDE, _TALL = 56, 12, 270, 250  # of the plotting area, px
_MOST_POINTS = 200  # of a curve; more can't be seen at this width


def reliability_chart(bins: Reliability) -> str:
    """Bars of accuracy by bin of confidence, a dot at the bin's mean confidence, the diagonal.

    The wider a dot, the more pictures the bin holds; an empty bin has neither bar nor dot.
    """
    drawn, dots = [], []
    most = max(int(bins.n.max()), 1)
    for i in range(len(bins.n)):
        if not bins.n[i]:
            continue
        left, right = _x(bins.lower[i]), _x(bins.upper[i])
        top = _y(bins.accuracy[i])
        drawn.append(
            f'<rect class="bar" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
            f'height="{_y(0) - top:.1f}"/>'
        )
        radius = 2 + 5 * (bins.n[i] / most) ** 0.5
        dots.append(
            f'<circle class="dot" cx="{_x(bins.confidence[i]):.1f}" cy="{top:.1f}" '
            f'r="{radius:.1f}"/>'
        )
    drawn.append(_path(f"M{_x(0):.1f} {_y(0):.1f}L{_x(1):.1f} {_y(1):.1f}", "guide"))
    words = "; ".join(
        f"confidence {bins.confidence[i]:.2f}: right {bins.accuracy[i]:.2f} of {int(bins.n[i])}"
        for i in range(len(bins.n))
        if bins.n[i]
    )
    return _chart(
        "reliability", "Confidence against accuracy", words, drawn + dots, "confidence", "right"
    )


def risk_chart(curve: RiskCoverage, *, marked: float) -> str:
    """Share of wrong answers among the surest part, with a line at the coverage `marked`."""
    most = _ceiling(float(curve.risk.max()))
    n = len(curve.risk)
    step = max(1, -(-n // _MOST_POINTS))
    rows = sorted({*range(0, n, step), n - 1})
    points = [(_x(curve.coverage[i]), _y(curve.risk[i] / most)) for i in rows]
    line = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    at = min(n - 1, max(0, round(marked * n) - 1))
    drawn = [
        _path(f"M{_x(marked):.1f} {_y(0):.1f}V{_y(1):.1f}", "guide"),
        _path(line, "curve"),
        f'<circle class="dot" cx="{_x(curve.coverage[at]):.1f}" '
        f'cy="{_y(curve.risk[at] / most):.1f}" r="4"/>',
    ]
    words = f"{curve.risk[at]:.3f} wrong among the surest {marked:.0%}, {curve.risk[-1]:.3f} of all"
    title = "Wrong among the surest, by share answered"
    return _chart("risk", title, words, drawn, "share answered", "wrong", most=most)


def _ceiling(risk: float) -> float:
    """End of the scale: the least of a few round numbers that holds the largest risk."""
    return next(end for end in (0.05, 0.1, 0.2, 0.5, 1.0) if risk <= end)


def _x(share: float) -> float:
    return _LEFT + _SIDE * float(share)


def _y(share: float) -> float:
    return _TOP + _TALL * (1 - float(share))


def _path(line: str, kind: str) -> str:
    return f'<path class="{kind}" d="{line}"/>'


def _chart(
    ident: str,
    title: str,
    words: str,
    drawn: Sequence[str],
    across: str,
    up: str,
    *,
    most: float = 1.0,
) -> str:
    """Frame, scales and words around what was drawn; `most` is the upper end of the scale."""
    parts = [*drawn, _path(f"M{_x(0):.1f} {_y(1):.1f}V{_y(0):.1f}H{_x(1):.1f}", "axis")]
    for share in (0, 0.2, 0.4, 0.6, 0.8, 1):
        parts.append(_word(_x(share), _y(0) + 18, f"{share:.1f}", "middle"))
        parts.append(_word(_LEFT - 6, _y(share) + 5, f"{share * most:.3g}", "end"))
    parts.append(_word(_LEFT + _SIDE / 2, _HEIGHT - 12, across, "middle"))
    middle = _TOP + _TALL / 2
    parts.append(
        f'<text transform="rotate(-90 11 {middle:.0f})" x="11" y="{middle:.0f}" '
        f'text-anchor="middle">{escape(up)}</text>'
    )
    return (
        f'<svg class="chart" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" '
        f'aria-labelledby="{ident}-title {ident}-desc">'
        f'<title id="{ident}-title">{escape(title)}</title>'
        f'<desc id="{ident}-desc">{escape(words)}</desc>{"".join(parts)}</svg>'
    )


def _word(x: float, y: float, word: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(word)}</text>'
