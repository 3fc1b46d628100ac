"""What the report page shows beyond the report itself: charts, and each pile's ways to go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from classifier.log.records import DetailChange
from classifier.report.lines import Report, RouteLine
from classifier.rules.programme import Programme
from service.web.charts import Bar, Pair, Part, percent
from service.web.render import NOTHING, day, weight

MOST_BARS_ON_PAPER = 10
"""With more bars than this the charts and the notes do not fit one sheet in letters to be read."""
MOST_OVERRULED = 6
_DETAIL_NAMES = {
    "name": "name",
    "place": "place",
    "stratum": "kind of place",
    "sorted_on": "date",
    "days": "days of discards",
    "persons": "persons",
    "programme_id": "local rules",
}


@dataclass(frozen=True, slots=True)
class DetailLine:
    """One detail of the sort as it was and as it is, in words."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class DetailsCorrected:
    """One correction of the sort's details."""

    changes: tuple[DetailLine, ...]
    reason: str
    at: datetime


def details_corrected(
    report: Report, programmes: Mapping[str, Programme]
) -> tuple[DetailsCorrected, ...]:
    """Return the corrections of the sort's details, the oldest first, less those of nothing."""
    return tuple(
        DetailsCorrected(
            tuple(_detail_line(change, programmes) for change in each.changes), each.reason, each.at
        )
        for each in report.corrections.sort_details
        if each.changes
    )


def _detail_line(change: DetailChange, programmes: Mapping[str, Programme]) -> DetailLine:
    def words(value: str | int | date) -> str:
        if isinstance(value, date):
            return day(value)
        if change.field == "programme_id" and value in programmes:
            return programmes[str(value)].name
        return str(value) or NOTHING

    return DetailLine(_DETAIL_NAMES[change.field], words(change.before), words(change.after))


def outcome_bars(report: Report) -> list[Bar]:
    """Return what can be recovered, what can't, and the rest, of the weight.

    Where nothing was weighed they are of the count.
    """
    weighed = any(kind.share_weight for kind in report.kinds)
    return [
        Bar(
            label=kind.name,
            parts=tuple(
                Part(line.route, share)
                for line in report.routes
                if line.kind == kind.kind and (share := _outcome_share(line, weighed))
            ),
            words=_outcome_words(kind, weighed),
        )
        for kind in report.kinds
        if _outcome_share(kind, weighed)
    ]


def _outcome_share(line: RouteLine, weighed: bool) -> float:
    if not weighed:
        return float(line.share_count)
    return float(line.share_weight.value) if line.share_weight else 0.0


def _outcome_words(kind: RouteLine, weighed: bool) -> str:
    if not weighed:
        objects = "object" if kind.count == 1 else "objects"
        return f"{percent(float(kind.share_count))} · {kind.count} {objects}"
    grams = kind.measured.value_g + kind.split_g
    split = " · part estimated" if kind.estimated_split else ""
    return f"{percent(_outcome_share(kind, weighed))} · {weight(grams)}{split}"


def weight_bars(report: Report) -> list[Bar]:
    """Return the bars of weight by category, the heaviest first."""
    bars = []
    for line in report.categories:
        if line.mass is None or line.share_weight is None:
            continue
        share = float(line.share_weight.value)
        names = " / ".join(way.name for way in line.routes)
        bars.append(
            Bar(
                label=line.name,
                parts=tuple(Part(way.route, share * float(way.share)) for way in line.routes),
                words=f"{percent(share)} · {weight(line.mass.value_g)} · {names}",
            )
        )
    return sorted(bars, key=lambda bar: -bar.share)


def fold_bars(bars: list[Bar], most: int = MOST_BARS_ON_PAPER) -> list[Bar]:
    """Keep the longest bars and sum up the others in a last one."""
    if len(bars) <= most:
        return bars
    shown, rest = bars[: most - 1], bars[most - 1 :]
    routes: dict[str, float] = {}
    for part in (part for bar in rest for part in bar.parts):
        routes[part.route] = routes.get(part.route, 0.0) + part.share
    total = sum(bar.share for bar in rest)
    parts = tuple(Part(route, share) for route, share in routes.items())
    words = f"{percent(total)} · each listed in the table"
    return [*shown, Bar(_rest_name(len(rest)), parts, words)]


def share_pairs(report: Report) -> list[Pair]:
    """Return count share beside weight share, in the order of the count share.

    A sort without a single count has nothing to compare.
    """
    if not report.total.count:
        return []
    pairs = [
        Pair(
            label=line.name,
            count_share=float(line.share_count),
            weight_share=None if line.share_weight is None else float(line.share_weight.value),
        )
        for line in report.categories
        if line.count or line.mass
    ]
    return sorted(pairs, key=lambda pair: -pair.count_share)


def fold_pairs(pairs: list[Pair], most: int = MOST_BARS_ON_PAPER) -> list[Pair]:
    """Keep the pairs that are large in count or weight, in their order, and sum up the others."""
    if len(pairs) <= most:
        return pairs
    by_size = sorted(pairs, key=lambda pair: -max(pair.count_share, pair.weight_share or 0))
    large = set(by_size[: most - 1])
    rest = by_size[most - 1 :]
    weights = [pair.weight_share for pair in rest if pair.weight_share is not None]
    together = Pair(
        label=_rest_name(len(rest)),
        count_share=sum(pair.count_share for pair in rest),
        weight_share=sum(weights) if weights else None,
    )
    return [*(pair for pair in pairs if pair in large), together]


def _rest_name(piles: int) -> str:
    return f"{piles} smaller piles together"
