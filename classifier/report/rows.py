"""A report as tidy rows for CSV: one figure a row, with its unit and what it rests on.

Figures are those of `report_json`, rounded alike. `basis` keeps measured and estimated apart: sum
rows of one measure and one basis only. `csv_text` makes the file safe to open in a spreadsheet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Literal

from classifier.csv_text import csv_text
from classifier.log.quantities import Mass
from classifier.report.as_json import fraction, grams
from classifier.report.dictionary import DATA_DICTIONARY, MEASURES
from classifier.report.lines import (
    CategoryLine,
    CountLine,
    EstimatedLine,
    GroupLine,
    Report,
    RouteLine,
)
from classifier.report.national import Comparison
from classifier.report.shares import Range

Basis = Literal["counted", "measured", "bound", "split_by_counts", "estimated", "published"]
Cell = str | int | float | None
Row = dict[str, Cell]


def report_rows(report: Report) -> list[Row]:
    """Return tidy rows, each with every column of `DATA_DICTIONARY`."""
    common = _common(report)
    return [{**common, **figure} for figure in _figures(report)]


def report_csv(report: Report) -> str:
    """Return the rows as CSV text (RFC 4180: commas, CRLF, header line)."""
    return _csv([column.name for column in DATA_DICTIONARY], report_rows(report))


def dictionary_csv() -> str:
    """Return the data dictionary as CSV text: columns first, then the measures."""
    rows: list[Row] = [asdict(each) for each in (*DATA_DICTIONARY, *MEASURES)]
    return _csv(["kind", "name", "type", "unit", "meaning"], rows)


def _csv(columns: list[str], rows: list[Row]) -> str:
    return csv_text(columns, ([row[column] for column in columns] for row in rows))


def _common(report: Report) -> Row:
    sort = report.sort
    return {
        "sort_id": sort.id,
        "sort_name": sort.name,
        "place": sort.place,
        "stratum": sort.stratum,
        "sorted_on": sort.sorted_on.isoformat(),
        "days": sort.days,
        "persons": sort.persons,
        "programme": report.programme.id,
        "programme_version": report.programme.version,
        "categories_version": report.categories_version,
    }


@dataclass(frozen=True, slots=True)
class _About:
    """What a run of rows is about."""

    level: str
    id: str
    name: str
    group: str = ""

    def row(
        self,
        measure: str,
        basis: Basis,
        unit: str,
        value: Cell,
        low: Cell = None,
        high: Cell = None,
        source: str = "",
    ) -> Row:
        return {
            **asdict(self),
            "measure": measure,
            "basis": basis,
            "unit": unit,
            "value": value,
            "low": low,
            "high": high,
            "source": source,
        }

    def counts(self, items: int, objects: int, share: Decimal) -> Iterator[Row]:
        yield self.row("items", "counted", "1", items)
        yield self.row("objects", "counted", "1", objects)
        yield self.row("share_by_count", "counted", "1", fraction(share))

    def mass(self, mass: Mass) -> Row:
        low, high = grams(mass.low_g), grams(mass.high_g)
        return self.row("net_weight", "measured", "g", grams(mass.value_g), low, high)

    def share(self, share: Range, basis: Basis = "measured") -> Row:
        return self.row("share_by_weight", basis, "1", *_ends(share, fraction))

    def weighed(self, line: CategoryLine | GroupLine) -> Iterator[Row]:
        if line.mass is not None:
            yield self.mass(line.mass)
        if line.share_weight is not None:
            yield self.share(line.share_weight)
        if line.share_range is not None:
            low, high = fraction(line.share_range.low), fraction(line.share_range.high)
            yield self.row("share_with_light_piles", "bound", "1", None, low, high)

    def below(self, below_g: Decimal) -> Row:
        return self.row("weight_below_resolution", "bound", "g", None, 0, grams(below_g))


def _figures(report: Report) -> Iterator[Row]:
    yield from _total(report)
    for line in report.categories:
        yield from _category(line)
    yield from _mean_item_weights(report)
    yield from _estimates(report)
    for group in report.groups:
        yield from _group(group)
    for route in report.routes:
        yield from _route(route, _About("route", route.route, route.name, route.kind))
    for kind in report.kinds:
        yield from _route(kind, _About("kind", kind.route, kind.name))
    if report.national is not None:
        yield from _national(report.national)


def _total(report: Report) -> Iterator[Row]:
    about = _About("total", "total", "Total")
    total, rate = report.total, report.rate
    yield about.row("items", "counted", "1", total.items)
    yield about.row("objects", "counted", "1", total.count)
    yield about.row("unweighed_objects", "counted", "1", total.unweighed_count)
    yield about.mass(total.mass)
    yield about.below(total.below_g)
    if total.estimated_g is not None:
        yield about.row("net_weight", "estimated", "g", grams(total.estimated_g))
    for unit, each in (("kg", rate.kg), ("lb", rate.lb)):
        yield about.row("per_person_week", "measured", unit, *_ends(each, fraction))


def _category(line: CategoryLine) -> Iterator[Row]:
    about = _About("category", line.category, line.name, line.group)
    yield from about.counts(line.items, line.count, line.share_count)
    unweighed = line.unweighed_count + line.unplaced_count
    yield about.row("unweighed_objects", "counted", "1", unweighed)
    yield from about.weighed(line)
    if line.below_g is not None:
        yield about.below(line.below_g)


def _mean_item_weights(report: Report) -> Iterator[Row]:
    pooled = (
        {} if report.item_weights is None else {e.category: e for e in report.item_weights.lines}
    )
    for line in report.categories:
        about = _About("category", line.category, line.name, line.group)
        found = pooled.get(line.category)
        if found is not None and report.item_weights is not None:
            source = f"{report.item_weights.words}: {found.objects} objects, piles: {found.batches}"
            if found.item.level is not None:
                source += f"; {found.item.level * 100:.0f} % interval of the mean"
            ends = _ends(found.item, grams)
            yield about.row("mean_item_weight", "estimated", "g", *ends, source)
        elif line.mean_item_g is not None:
            yield about.row("mean_item_weight", "estimated", "g", grams(line.mean_item_g))


def _estimates(report: Report) -> Iterator[Row]:
    groups: Mapping[str, str] = {line.category: line.group for line in report.categories}
    for line in report.estimates:
        about = _About("category", line.category, line.name, groups[line.category])
        yield about.row("net_weight", "estimated", "g", *_ends(line.grams, grams), _source(line))
    for count in report.count_estimates:
        about = _About("category", count.category, count.name, groups[count.category])
        yield about.row("objects", "estimated", "1", *_ends(count.count, fraction), _source(count))


def _ends(
    found: Range, rounded: Callable[[Decimal | None], float | None]
) -> tuple[Cell, Cell, Cell]:
    """Return value, low and high as a row has them."""
    return rounded(found.value), rounded(found.low), rounded(found.high)


def _source(line: EstimatedLine | CountLine) -> str:
    source = line.basis if line.code is None else f"{line.basis} (code {line.code})"
    return f"{source}; {line.range_is}" if line.range_is else source


def _group(line: GroupLine) -> Iterator[Row]:
    about = _About("group", line.group, line.name)
    yield from about.counts(line.items, line.count, line.share_count)
    yield from about.weighed(line)


def _route(line: RouteLine, about: _About) -> Iterator[Row]:
    yield from about.counts(line.items, line.count, line.share_count)
    yield about.mass(line.measured)
    if line.estimated_split:
        yield about.row("net_weight", "split_by_counts", "g", grams(line.split_g))
    if line.share_weight is not None:
        basis: Basis = "split_by_counts" if line.estimated_split else "measured"
        yield about.share(line.share_weight, basis)


def _national(comparison: Comparison) -> Iterator[Row]:
    national = comparison.national
    source = (
        f"{national.publisher}, {national.title}, {national.published} "
        f"(data year {national.data_year}, code {national.ledger_code})"
    )
    for line in comparison.lines:
        about = _About("national", line.material, line.name)
        if line.mass is not None:
            yield about.mass(line.mass)
        if line.ours is not None:
            yield about.share(line.ours)
        generated, landfilled = fraction(line.generated_share), fraction(line.landfilled_share)
        yield about.row("share_generated", "published", "1", generated, source=source)
        yield about.row("share_landfilled", "published", "1", landfilled, source=source)
