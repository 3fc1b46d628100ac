"""Parts of the report's JSON that stand for themselves, and the rounding that CSV shares."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from classifier.log.ledger import Correction, Item, Weighing
from classifier.log.quantities import Mass
from classifier.log.records import SortCorrection
from classifier.report.lines import Corrections, CountLine, FarLine, ItemWeightTable
from classifier.report.national import Comparison
from classifier.report.shares import Share, ShareRange

Json = dict[str, object]


def grams(value: Decimal | None) -> float | None:
    """Return grams to the milligram, far below any scale that weighs discards."""
    return None if value is None else float(round(value, 3))


def fraction(value: Decimal | None) -> float | None:
    """Return a share or a rate to six decimals."""
    return None if value is None else float(round(value, 6))


def mass_json(mass: Mass | None) -> Json | None:
    """Return a measured weight with its bounds, in grams."""
    if mass is None:
        return None
    return {
        "value": grams(mass.value_g),
        "low": grams(mass.low_g),
        "high": grams(mass.high_g),
    }


def share_json(share: Share | None) -> Json | None:
    """Return a share or a rate with its bounds."""
    if share is None:
        return None
    return {
        "value": fraction(share.value),
        "low": fraction(share.low),
        "high": fraction(share.high),
    }


def range_json(found: ShareRange | None) -> Json | None:
    """Return the bounds of a share."""
    return None if found is None else {"low": fraction(found.low), "high": fraction(found.high)}


def count_estimate_json(line: CountLine) -> Json:
    """Return a count worked out from a weight."""
    return {
        "category": line.category,
        "name": line.name,
        "net_g": mass_json(line.mass),
        "item_g": grams(line.item_g),
        "count": {
            "value": fraction(line.value),
            "low": fraction(line.low),
            "high": fraction(line.high),
        },
        "level": fraction(line.level),
        "range_is": line.range_is,
        "method": line.method,
        "basis": line.basis,
        "code": line.code,
    }


def item_weights_json(table: ItemWeightTable | None) -> Json | None:
    """Return mean item weights with the batches that they are from."""
    if table is None:
        return None
    return {
        "scope": table.scope,
        "words": table.words,
        "categories": [
            {
                "category": line.category,
                "name": line.name,
                "item_g": {
                    "value": grams(line.item.value),
                    "low": grams(line.item.low),
                    "high": grams(line.item.high),
                },
                "level": fraction(line.item.level),
                "batches": line.batches,
                "objects": line.objects,
                "sorts": line.sorts,
            }
            for line in table.lines
        ],
    }


def far_json(line: FarLine) -> Json:
    """Return a pile whose objects weigh far from usual."""
    return {
        "category": line.category,
        "name": line.name,
        "label": line.label,
        "item_g": grams(line.item_g),
        "low_g": grams(line.low_g),
        "high_g": grams(line.high_g),
        "basis": line.basis,
    }


def corrections_json(corrections: Corrections) -> Json:
    """Return how the record came about."""
    return {
        "suggested": corrections.suggested,
        "agreed": corrections.agreed,
        "overruled": [
            {
                "suggested": each.suggested,
                "suggested_name": each.suggested_name,
                "confirmed": each.confirmed,
                "confirmed_name": each.confirmed_name,
                "items": each.items,
                "count": each.count,
            }
            for each in corrections.overruled
        ],
        "corrected": [_correction(each) for each in corrections.corrected],
        "voided_items": [_item(item) for item in corrections.voided_items],
        "voided_weighings": [_weighing(each) for each in corrections.voided_weighings],
        "sort_details": [_sort_correction(each) for each in corrections.sort_details],
    }


def _correction(correction: Correction) -> Json:
    return {
        "before": _item(correction.before),
        "after": _item(correction.after),
        "reason": correction.reason,
        "sorter": correction.sorter,
        "at": correction.at.isoformat(),
    }


def _sort_correction(correction: SortCorrection) -> Json:
    return {
        "changes": [
            {
                "field": change.field,
                "before": _detail(change.before),
                "after": _detail(change.after),
            }
            for change in correction.changes
        ],
        "reason": correction.reason,
        "at": correction.at.isoformat(),
    }


def _detail(value: str | int | date) -> str | int:
    return value.isoformat() if isinstance(value, date) else value


def _item(item: Item) -> Json:
    return {
        "id": item.id,
        "category": item.category,
        "count": item.count,
        "route": item.route,
        "sorter": item.sorter,
        "at": item.at.isoformat(),
    }


def _weighing(weighing: Weighing) -> Json:
    return {
        "id": weighing.id,
        "batch": weighing.batch_id,
        "load": weighing.load,
        "method": weighing.method,
        "gross": None if weighing.gross is None else str(weighing.gross),
        "unit": str(weighing.unit),
        "sorter": weighing.sorter,
        "at": weighing.at.isoformat(),
    }


def national_json(comparison: Comparison) -> Json:
    """Return the comparison with national figures, generated and landfilled apart."""
    national = comparison.national
    return {
        "id": national.id,
        "title": national.title,
        "publisher": national.publisher,
        "published": national.published,
        "data_year": national.data_year,
        "address": national.address,
        "tables": national.tables,
        "ledger_code": national.ledger_code,
        "headline_code": national.headline_code,
        "generated_lb_per_person_day": float(national.headline["generated_lb_per_person_day"]),
        "warnings": list(national.warnings),
        "materials": [
            {
                "id": line.material,
                "name": line.name,
                "note": line.note,
                "net_g": mass_json(line.mass),
                "share_weight": share_json(line.ours),
                "generated_share": fraction(line.generated_share),
                "landfilled_share": fraction(line.landfilled_share),
            }
            for line in comparison.lines
        ],
        "not_compared": {
            "net_g": mass_json(comparison.not_compared),
            "share_weight": share_json(comparison.not_compared_share),
            "categories": list(comparison.not_compared_categories),
            "reason": national.no_counterpart_reason,
        },
    }
