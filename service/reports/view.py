"""What the report page shows beyond the report itself: charts, and each pile's ways to go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from classifier.log.records import DetailChange
from classifier.report.lines import Report, RouteLine
from classifier.rules.programme import Programme
from service.web.charts import COUNT, WEIGHT, Bar, Part, Row, percent
from service.web.render import NOTHING, day, weight

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


def outcome_rows(report: Report) -> list[Row]:
    """Return what can be recovered, what can't, and the rest, of the weight.

    Where nothing was weighed they are of the count.
    """
    weighed = any(kind.share_weight for kind in report.kinds)
    return [
        Row(kind.name, (Bar(_routes_of(kind, report, weighed), _outcome_words(kind, weighed)),))
        for kind in report.kinds
        if _outcome_share(kind, weighed)
    ]


def _routes_of(kind: RouteLine, report: Report, weighed: bool) -> tuple[Part, ...]:
    own = [(line, _outcome_share(line, weighed)) for line in report.routes]
    return tuple(Part(line.route, share) for line, share in own if line.kind == kind.kind and share)


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


def weight_rows(report: Report) -> list[Row]:
    """Return the shares of the weight by category and route, the heaviest first."""
    rows = []
    for line in report.categories:
        if line.mass is None or line.share_weight is None:
            continue
        share = float(line.share_weight.value)
        names = " / ".join(way.name for way in line.routes)
        parts = tuple(Part(way.route, share * float(way.share)) for way in line.routes)
        words = f"{percent(share)} · {weight(line.mass.value_g)} · {names}"
        rows.append(Row(line.name, (Bar(parts, words),)))
    return sorted(rows, key=lambda row: -row.bars[0].share)


def count_and_weight_rows(report: Report) -> list[Row]:
    """Return count share beside weight share, in the order of the count share.

    A sort without a single count has nothing to compare.
    """
    if not report.total.count:
        return []
    rows = [
        Row(
            line.name,
            (
                _plain_bar(COUNT, line.share_count),
                _plain_bar(WEIGHT, line.share_weight.value if line.share_weight else None),
            ),
        )
        for line in report.categories
        if line.count or line.mass
    ]
    return sorted(rows, key=lambda row: -row.bars[0].share)


def _plain_bar(fill: str, share: Decimal | None) -> Bar:
    found = None if share is None else float(share)
    return Bar((Part(fill, found),) if found else (), percent(found))
