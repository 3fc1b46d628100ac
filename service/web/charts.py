"""Charts as rows of a table: a bar is a small drawing whose widths are percentages.

So they print (drawings do where grounds don't), need no script, fold on a phone as other tables
do, and are read out row by row. Every bar is labelled with its own words and hatched by its route;
no legend must be consulted, and grey paper is enough. A whisker is the range of an estimate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from service.web.route_marks import ROUTE_MARKS

COUNT, WEIGHT = "count", "weight"
"""Fills of bars that are of no route."""
MOST_ROWS = 10
"""With more rows than this, charts and notes do not fit one sheet in letters to be read."""
_GAP = "\u00a0"  # a figure and its sign are never parted at a line's end


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of a bar: the route (or `COUNT`, `WEIGHT`) that it is filled for, and its share."""

    fill: str
    share: float


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar with the words beside it; all shares are fractions, 0 to 1."""

    parts: tuple[Part, ...]
    words: str
    low: float | None = None
    high: float | None = None

    @property
    def share(self) -> float:
        """The whole bar."""
        return sum(part.share for part in self.parts)

    @property
    def end(self) -> float:
        """Where the bar or its whisker ends."""
        return max(self.share, self.high or 0.0)


@dataclass(frozen=True, slots=True)
class Row:
    """What is compared, with one bar, or with two that start from the same line."""

    label: str
    bars: tuple[Bar, ...]


def percent(share: float | None) -> str:
    """Return a share as a reader writes it; None is a pile that was not weighed."""
    if share is None:
        return "not weighed"
    if 0 < share < 0.001:
        return f"under 0.1{_GAP}%"
    return f"{100 * share:.1f}{_GAP}%"


def bar_chart(
    rows: Sequence[Row], label: str, *, heads: tuple[str, ...] = (), whole: float = 0.0
) -> Markup:
    """Return a table of bars; `whole` is the share that fills the width, else the longest bar does.

    With two bars a row, `heads` name what each is a share of. On paper and on a phone the smaller
    of many rows stand summed up in one.
    """
    most = whole or max((bar.end for row in rows for bar in row.bars), default=0.0) or 1.0
    shown, rest = fold(rows)
    body = Markup("").join(
        _row(row, most, heads, "" if rest is None or row in shown else "minor") for row in rows
    )
    if rest is not None:
        body += _row(rest, most, heads, "rest")
    return Markup('<table class="bars{}" aria-label="{}">{}<tbody>{}</tbody></table>').format(
        " pairs" if heads else "", label, _heads(heads), body
    )


def fold(rows: Sequence[Row], most: int = MOST_ROWS) -> tuple[list[Row], Row | None]:
    """Return the rows that are large in any bar, in their order, and all others as one."""
    if len(rows) <= most:
        return list(rows), None
    by_size = sorted(rows, key=lambda row: -max(bar.share for bar in row.bars))
    large, small = by_size[: most - 1], by_size[most - 1 :]
    sums = [
        sum(bar.share for bar in bars) for bars in zip(*(row.bars for row in small), strict=True)
    ]
    # Words alone: the sum may be longer than any bar, and all have one scale.
    rest = Row(f"{len(small)} smaller piles together", tuple(Bar((), percent(s)) for s in sums))
    return [row for row in rows if row in large], rest


def _heads(heads: tuple[str, ...]) -> Markup:
    if not heads:
        return Markup("")
    cells = Markup("").join(
        Markup('<th scope="col" colspan="2">share of the {}</th>').format(head) for head in heads
    )
    return Markup(
        '<thead><tr><th scope="col"><span class="unseen">Pile</span></th>{}</tr></thead>'
    ).format(cells)


def _row(row: Row, most: float, heads: tuple[str, ...], kind: str) -> Markup:
    cells = []
    for place, bar in enumerate(row.bars):
        words = Markup('<td class="words"{}>{}</td>').format(
            Markup(' data-col="{}"').format(heads[place]) if heads else "", bar.words
        )
        run = Markup('<td class="run">{}</td>').format(_drawn(bar, most))
        cells += [words, run] if place < len(row.bars) - 1 else [run, words]
    return Markup('<tr{}><th scope="row">{}</th>{}</tr>').format(
        Markup(' class="{}"').format(kind) if kind else "", row.label, Markup("").join(cells)
    )


def _drawn(bar: Bar, most: float) -> Markup:
    drawn, at = "", 0.0
    for part in bar.parts:
        width = 100 * max(part.share, 0.0) / most
        drawn += (
            f'<rect x="{at:.2f}%" width="{width:.2f}%" height="100%" fill="{_fill(part.fill)}" '
            'stroke="currentColor"/>'
        )
        at += width
    if bar.low is not None and bar.high is not None:
        # A lower end below 0 is drawn to the axis; the words say it.
        low, high = (100 * max(end, 0.0) / most for end in (bar.low, bar.high))
        line = _whisker(low, high)
        drawn += f'<g class="halo">{line}</g><g stroke="currentColor" stroke-width="2">{line}</g>'
    return Markup(f'<svg class="bar" aria-hidden="true" focusable="false">{drawn}</svg>')


def _whisker(low: float, high: float) -> str:
    ends = [(low, high, 50, 50), (low, low, 17, 83), (high, high, 17, 83)]
    return "".join(
        f'<line x1="{x1:.2f}%" x2="{x2:.2f}%" y1="{y1}%" y2="{y2}%"/>' for x1, x2, y1, y2 in ends
    )


def _fill(fill: str) -> str:
    if fill in (COUNT, WEIGHT):
        return "url(#count-hatch)" if fill == COUNT else "currentColor"
    return f"url(#route-{fill if fill in ROUTE_MARKS else 'undecided'})"
