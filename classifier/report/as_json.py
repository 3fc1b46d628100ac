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

from classifier.report.json_parts import (
    Json,
    corrections_json,
    count_estimate_json,
    far_json,
    fraction,
    grams,
    item_weights_json,
    mass_json,
    national_json,
    range_json,
    share_json,
)
from classifier.report.lines import (
    CategoryLine,
    EstimatedLine,
    GroupLine,
    Report,
    RouteLine,
    VersionSeen,
)
from classifier.report.shares import Share

FORMAT = "tallytare-report"
FORMAT_VERSION = 1


def report_json(report: Report) -> Json:
    """Return the report as a dict of plain values, ready for `json.dumps`."""
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "sort": _sort(report),
        "categories_version": report.categories_version,
        "programme": _programme(report),
        "programme_versions": [_seen(each) for each in report.programme_versions],
        "models": [_seen(each) for each in report.models],
        "total": _total(report),
        "per_person_week": _rate(report),
        "categories": [_category(line) for line in report.categories],
        "groups": [_group(line) for line in report.groups],
        "routes": [_route(line) for line in report.routes],
        "kinds": [_route(line) for line in report.kinds],
        "below_resolution": [
            {
                "category": line.category,
                "name": line.name,
                "label": line.label,
                "count": line.count,
                "below_g": grams(line.below_g),
            }
            for line in report.below_resolution
        ],
        "not_weighed": [
            {
                "category": line.category,
                "name": line.name,
                "count": line.count,
                "reason": line.reason,
            }
            for line in report.not_weighed
        ],
        "estimates": [_estimate(line) for line in report.estimates],
        "count_estimates": [count_estimate_json(line) for line in report.count_estimates],
        "item_weights": item_weights_json(report.item_weights),
        "far_item_weights": [far_json(line) for line in report.far_item_weights],
        "corrections": corrections_json(report.corrections),
        "national": None if report.national is None else national_json(report.national),
        "notes": [{"code": note.code, "text": note.text} for note in report.notes],
    }


def _sort(report: Report) -> Json:
    sort = report.sort
    return {
        "id": sort.id,
        "name": sort.name,
        "place": sort.place,
        "stratum": sort.stratum,
        "sorted_on": sort.sorted_on.isoformat(),
        "days": sort.days,
        "persons": sort.persons,
        "sorters": list(sort.sorters),
        "closed": sort.closed,
    }


def _programme(report: Report) -> Json:
    programme = report.programme
    return {
        "id": programme.id,
        "name": programme.name,
        "version": programme.version,
        "valid_from": programme.valid_from.isoformat(),
        "valid_to": programme.valid_to.isoformat() if programme.valid_to else None,
        "statement": programme.statement,
    }


def _seen(seen: VersionSeen) -> Json:
    return {"version": seen.version, "items": seen.items}


def _total(report: Report) -> Json:
    total = report.total
    return {
        "items": total.items,
        "count": total.count,
        "batches": total.batches,
        "weighings": total.weighings,
        "net_g": mass_json(total.mass),
        "below_resolution_g": grams(total.below_g),
        "estimated_g": grams(total.estimated_g),
        "unweighed_count": total.unweighed_count,
    }


def _rate(report: Report) -> Json:
    rate = report.rate
    return {
        "kg": share_json(Share(rate.kg, rate.low_kg, rate.high_kg)),
        "lb": share_json(Share(rate.lb, rate.low_lb, rate.high_lb)),
    }


def _category(line: CategoryLine) -> Json:
    return {
        "id": line.category,
        "name": line.name,
        "group": line.group,
        "items": line.items,
        "count": line.count,
        "batches": line.batches,
        "weighed": line.weighed,
        "net_g": mass_json(line.mass),
        "below_resolution_g": grams(line.below_g),
        "unweighed_count": line.unweighed_count,
        "unplaced_count": line.unplaced_count,
        "share_weight": share_json(line.share_weight),
        "share_with_light_piles": range_json(line.share_range),
        "share_count": fraction(line.share_count),
        "mean_item_g": grams(line.mean_item_g),
    }


def _group(line: GroupLine) -> Json:
    return {
        "id": line.group,
        "name": line.name,
        "items": line.items,
        "count": line.count,
        "net_g": mass_json(line.mass),
        "share_weight": share_json(line.share_weight),
        "share_with_light_piles": range_json(line.share_range),
        "share_count": fraction(line.share_count),
    }


def _route(line: RouteLine) -> Json:
    return {
        "id": line.route,
        "name": line.name,
        "kind": line.kind,
        "items": line.items,
        "count": line.count,
        "measured_g": mass_json(line.measured),
        "split_estimated_g": grams(line.split_g),
        "share_weight": share_json(line.share_weight),
        "share_weight_is_estimated": line.estimated_split,
        "share_count": fraction(line.share_count),
    }


def _estimate(line: EstimatedLine) -> Json:
    return {
        "category": line.category,
        "name": line.name,
        "count": line.count,
        "item_g": grams(line.item_g),
        "net_g": {
            "value": grams(line.grams),
            "low": grams(line.low_g),
            "high": grams(line.high_g),
        },
        "method": line.method,
        "basis": line.basis,
        "code": line.code,
        "level": fraction(line.level),
        "range_is": line.range_is,
    }
