"""The report of one sort: one pure function from the ledger to everything that is shown.

Measured and estimated never meet in one number. Measured are the weights of piles (with the bounds
that the scale's resolution sets) and the counts. Estimated, and kept in places of their own, are
weights worked out from counts (`Report.estimates`), counts worked out from weights
(`Report.count_estimates`) and the split of a mixed pile among routes (`RouteLine.split_g`). A pile
below the scale's resolution weighs from 0 to less than one step: it is listed with that bound and
left out of the measured total. Shares by weight are of the measured total; shares by count are of
all objects.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from decimal import Decimal

from classifier.log.ledger import Ledger
from classifier.log.quantities import Mass, Unit
from classifier.log.records import SortCorrection, SortInfo
from classifier.report.categories import (
    Names,
    below_lines,
    category_lines,
    group_lines,
    total_line,
    unweighed_lines,
)
from classifier.report.conversions import ItemWeights
from classifier.report.estimates import (
    count_lines,
    estimated_lines,
    far_lines,
    far_notes,
    item_weight_table,
)
from classifier.report.item_weights import PriorWeights
from classifier.report.lines import Corrections, Overruled, Rate, Report, VersionSeen
from classifier.report.national import National, compare
from classifier.report.notes import ledger_notes, line_notes
from classifier.report.routes import kind_lines, route_lines, weighed_piles
from classifier.report.shares import Range
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme

DAYS_IN_WEEK = 7


def build_report(
    ledger: Ledger,
    categories: Categories,
    programme: Programme,
    *,
    priors: PriorWeights | None = None,
    national: National | None = None,
    item_weights: ItemWeights | None = None,
    sort_corrections: Sequence[SortCorrection] = (),
) -> Report:
    """Return the report of a folded sort.

    `item_weights` are mean item weights with their error between batches; without them an estimate
    from the sort's own piles has no interval. `sort_corrections` are listed; the ledger's sort is
    as they left it.

    Without `priors` a category that was counted and never weighed gets no estimate; without
    `national` there is no comparison. Both come from files, which a pure function doesn't read:
    see `load_prior_weights` and `load_national`.
    """
    names = Names(categories)
    lines = category_lines(ledger, names, programme)
    estimates = estimated_lines(ledger, names, priors, item_weights)
    counts = count_lines(ledger, names, priors, item_weights)
    far = far_lines(ledger, names, item_weights)
    total = total_line(ledger, lines, estimates)
    piles = weighed_piles(ledger, programme)
    kinds = kind_lines(ledger, piles)
    caution = priors.caution if priors else ""
    masses = {line.category: line.mass for line in lines}
    return Report(
        sort=ledger.sort,
        categories_version=categories.version,
        programme=programme,
        programme_versions=_seen(item.programme_version for item in ledger.items),
        models=_seen(item.model_version for item in ledger.items),
        categories=lines,
        groups=group_lines(ledger, lines, names),
        total=total,
        rate=per_person_week(total.mass, ledger.sort),
        routes=route_lines(ledger, piles),
        kinds=kinds,
        below_resolution=below_lines(ledger, names),
        not_weighed=unweighed_lines(lines),
        estimates=estimates,
        count_estimates=counts,
        item_weights=item_weight_table(ledger, names, item_weights),
        far_item_weights=far,
        corrections=_corrections(ledger, names, sort_corrections),
        national=compare(national, masses) if national else None,
        notes=(
            *ledger_notes(ledger, names, programme),
            *far_notes(far),
            *line_notes(lines, kinds, (*estimates, *counts), caution),
        ),
    )


def per_person_week(mass: Mass, sort: SortInfo) -> Rate:
    """Return net kg / persons / (days / 7), with its bounds, in kg and in lb.

    Common practice for such reports: DOMAIN.md section 9.1. The bounds are those of the scales
    only; that another week would have been different is not in them.
    """
    share = Decimal(DAYS_IN_WEEK) / (sort.persons * sort.days)
    grams = [each * share for each in (mass.value_g, mass.low_g, mass.high_g)]
    kg, lb = (Range(*(each / unit.grams for each in grams)) for unit in (Unit.KG, Unit.LB))
    return Rate(kg, lb)


def _seen(versions: Iterable[str | None]) -> tuple[VersionSeen, ...]:
    """Count versions, the most frequent first; `None` is an item entered without a photo."""
    counts = Counter(versions)
    ordered = sorted(counts.items(), key=lambda each: (-each[1], each[0] or ""))
    return tuple(VersionSeen(version, items) for version, items in ordered)


def _corrections(
    ledger: Ledger, names: Names, sort_corrections: Sequence[SortCorrection]
) -> Corrections:
    """Return suggestions against final categories, later corrections, and voids."""
    suggested = [item for item in ledger.items if item.suggested is not None]
    items: Counter[tuple[str, str]] = Counter()
    objects: Counter[tuple[str, str]] = Counter()
    for item in suggested:
        pair = (str(item.suggested), item.category)
        items[pair] += 1
        objects[pair] += item.count
    overruled = sorted(
        (pair for pair in items if pair[0] != pair[1]), key=lambda pair: (-items[pair], pair)
    )
    return Corrections(
        suggested=len(suggested),
        agreed=sum(n for (shown, chosen), n in items.items() if shown == chosen),
        overruled=tuple(
            Overruled(
                suggested=shown,
                suggested_name=names.category(shown),
                confirmed=chosen,
                confirmed_name=names.category(chosen),
                items=items[shown, chosen],
                count=objects[shown, chosen],
            )
            for shown, chosen in overruled
        ),
        corrected=ledger.corrections,
        voided_items=ledger.voided,
        voided_weighings=ledger.voided_weighings,
        sort_details=tuple(sort_corrections),
    )
