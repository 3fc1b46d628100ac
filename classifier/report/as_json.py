"""A report as plain JSON, with the keys that other programs may rely on.

Keys, top to bottom:

- `format` "tallytare-report", `format_version` 1: raised when a key changes its meaning or goes.
- `sort`: `id`, `name`, `place`, `stratum`, `sorted_on` (ISO date), `days`, `persons`, `sorters`,
  `closed`.
- `categories_version`; `programme`: `id`, `name`, `version`, `valid_from`, `valid_to`, `statement`.
- `programme_versions`, `models`: lists of `version` (null: entered without a photo) and `items`.
- `total`: `items`, `count` (objects), `batches`, `weighings`, `net_g` (measured),
  `below_resolution_g` (most that piles too light for the scale weigh together), `estimated_g`
  (null: nothing estimated; never part of `net_g`), `unweighed_count`.
- `per_person_week`: `kg` and `lb`, measured weight only.
- `categories`, `groups`: `id`, `name`, `items`, `count`, `net_g` (null: nothing measured),
  `share_weight` (of the measured total), `share_with_light_piles` (`low` and `high` of the share of
  all that was weighed, piles too light for the scale included), `share_count` (of all objects);
  categories also `group`,
  `batches`, `weighed` (measured, partly, below_resolution, not_weighed), `below_resolution_g`,
  `unweighed_count`, `unplaced_count`, `mean_item_g`.
- `routes`, `kinds`: `id`, `name`, `kind` (recovered, special, discarded, undecided), `items`,
  `count`, `measured_g`, `split_estimated_g` (part of mixed piles by counts), `share_weight`,
  `share_weight_is_estimated`, `share_count`.
- `below_resolution`, `not_weighed`, `estimates` (weights from counts): see `report_lines`.
- `count_estimates`: `category`, `name`, `net_g` (measured, of the piles that were not counted),
  `item_g`, `count` (estimated), and as in `estimates` `level`, `range_is`, `method`, `basis`,
  `code`.
- `item_weights` (null: none asked for): `scope` (sort, study, store), `words`, and `categories`
  with `item_g`, `level`, `batches`, `objects`, `sorts`.
- `far_item_weights`: piles with `item_g` outside `low_g` to `high_g`, and on what `basis`.
- `corrections`: `suggested`, `agreed`, `overruled`, `corrected`, `voided_items`,
  `voided_weighings`, `sort_details` (corrections of the sort itself: `changes` with `field`,
  `before`, `after`; `reason`, `at`).
- `national` (null without): source, codes, `warnings`, `materials`, `not_compared`.
- `notes`: `code` and `text`.

`share_weight` is null where nothing was measured under that heading, and in `national` also where
the material was found and not weighed.

A measured weight, a share or a rate is `{"value", "low", "high"}`: grams to 0.001 g, fractions and
rates to six decimals. The bounds are those of scale resolution, not a confidence interval. What is
estimated has in `range_is` what its `low` and `high` are, both null where there is no range.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from operator import attrgetter
from typing import Any

from classifier.log.ledger import Correction
from classifier.log.quantities import Mass
from classifier.log.records import DetailChange, Item, SortCorrection, SortInfo, Weighing
from classifier.report.lines import (
    BelowLine,
    CategoryLine,
    Corrections,
    CountLine,
    EstimatedLine,
    FarLine,
    GroupLine,
    ItemWeightLine,
    ItemWeightTable,
    Note,
    Overruled,
    Rate,
    Report,
    RouteLine,
    TotalLine,
    UnweighedLine,
    VersionSeen,
)
from classifier.report.national import Comparison, ComparisonLine, NotCompared
from classifier.report.shares import Range, ShareRange
from classifier.rules.programme import Programme

Json = dict[str, Any]

FORMAT = "tallytare-report"
FORMAT_VERSION = 1

_KEYS: Mapping[type, str] = {
    Report: "sort categories_version programme programme_versions models total "
    "per_person_week=rate categories groups routes kinds below_resolution not_weighed estimates "
    "count_estimates item_weights far_item_weights corrections national notes",
    SortInfo: "id name place stratum sorted_on days persons sorters closed",
    Programme: "id name version valid_from valid_to statement",
    VersionSeen: "version items",
    TotalLine: "items count batches weighings net_g=mass below_resolution_g=below_g estimated_g "
    "unweighed_count",
    Rate: "kg lb",
    CategoryLine: "id=category name group items count batches weighed net_g=mass "
    "below_resolution_g=below_g unweighed_count unplaced_count share_weight "
    "share_with_light_piles=share_range share_count mean_item_g",
    GroupLine: "id=group name items count net_g=mass share_weight "
    "share_with_light_piles=share_range share_count",
    RouteLine: "id=route name kind items count measured_g=measured split_estimated_g=split_g "
    "share_weight share_weight_is_estimated=estimated_split share_count",
    BelowLine: "category name label count below_g",
    UnweighedLine: "category name count reason",
    EstimatedLine: "category name count item_g net_g=grams method basis code level=grams.level "
    "range_is",
    CountLine: "category name net_g=mass item_g count level=count.level range_is method basis code",
    ItemWeightTable: "scope words categories=lines",
    ItemWeightLine: "category name item_g=item level=item.level batches objects sorts",
    FarLine: "category name label item_g low_g high_g basis",
    Corrections: "suggested agreed overruled corrected voided_items voided_weighings sort_details",
    Overruled: "suggested suggested_name confirmed confirmed_name items count",
    Correction: "before after reason sorter at",
    SortCorrection: "changes reason at",
    DetailChange: "field before after",
    Item: "id category count route sorter at",
    Weighing: "id batch=batch_id load method gross unit sorter at",
    Comparison: "id=national.id title=national.title publisher=national.publisher "
    "published=national.published data_year=national.data_year address=national.address "
    "tables=national.tables ledger_code=national.ledger_code headline_code=national.headline_code "
    "generated_lb_per_person_day=national.generated_lb_per_person_day warnings=national.warnings "
    "materials=lines not_compared",
    ComparisonLine: "id=material name note net_g=mass share_weight=ours generated_share "
    "landfilled_share",
    NotCompared: "net_g=mass share_weight=share categories reason",
    Note: "code text",
    Mass: "value=value_g low=low_g high=high_g",
    Range: "value low high",
    ShareRange: "low high",
}
"""Keys of each record in the order of the file; `key=field` where a field has another name."""

_ENDS = ("value", "low", "high")
_AS_READ = "gross"


def report_json(report: Report) -> Json:
    """Return the report as a dict of plain values, ready for `json.dumps`."""
    return {"format": FORMAT, "format_version": FORMAT_VERSION, **dict(_entries(report, ""))}


def grams(value: Decimal | None) -> float | None:
    """Return grams to the milligram, far below any scale that weighs discards."""
    return None if value is None else float(round(value, 3))


def fraction(value: Decimal | None) -> float | None:
    """Return a share or a rate to six decimals."""
    return None if value is None else float(round(value, 6))


def _entries(record: object, key: str) -> Iterator[tuple[str, object]]:
    for pair in _KEYS[type(record)].split():
        name, _, field = pair.partition("=")
        # The ends of a range are rounded as what the range is of.
        yield name, _plain(attrgetter(field or name)(record), key if name in _ENDS else name)


def _plain(value: object, key: str) -> object:
    """Return a value of a report as JSON has it; its key says whether a number is grams."""
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, Decimal):
        if key == _AS_READ:
            return str(value)
        return grams(value) if key.endswith("_g") else fraction(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return [_plain(each, key) for each in value]
    return dict(_entries(value, key))
