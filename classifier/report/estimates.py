"""What a report works out: weights from counts, counts from weights, and what looks wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from classifier.log.ledger import CategoryTotal, Ledger
from classifier.log.quantities import Mass, sum_masses
from classifier.report.categories import Names, unweighed
from classifier.report.conversions import ItemWeights, PooledWeight
from classifier.report.item_weights import OwnWeight, PriorWeight, PriorWeights, own_item_weight
from classifier.report.lines import (
    CountLine,
    EstimatedLine,
    EstimateMethod,
    FarLine,
    ItemWeightLine,
    ItemWeightTable,
    Note,
)
from classifier.report.shares import Range

ONE_BATCH = "one batch: how much batches differ is not known"
PUBLISHED_SPAN = "span of the published values, no confidence interval"


def estimated_lines(
    ledger: Ledger, names: Names, priors: PriorWeights | None, weights: ItemWeights | None
) -> tuple[EstimatedLine, ...]:
    """Return weights for objects that were counted and not weighed, where there is a basis."""
    found = []
    for total in names.ordered(ledger.categories):
        count, _ = unweighed(total)
        own = own_item_weight(total.batches)
        known = _known(total.category, priors, weights, own) if count else None
        if known is not None:
            grams = known.weight_of(count)
            found.append(
                EstimatedLine(
                    category=total.category,
                    name=names.category(total.category),
                    count=count,
                    item_g=known.item_g,
                    grams=grams,
                    method=known.method,
                    basis=known.basis,
                    code=known.code,
                    range_is=known.range_is(grams),
                )
            )
    return tuple(found)


def count_lines(
    ledger: Ledger, names: Names, priors: PriorWeights | None, weights: ItemWeights | None
) -> tuple[CountLine, ...]:
    """Return counts for piles that were weighed and not counted, where there is a basis.

    A pile with contents left in says nothing about how many objects it holds. Where objects of the
    category are in no pile, they may be in the uncounted one, so that nothing can be said either.
    """
    found = []
    for total in names.ordered(ledger.categories):
        masses = _uncounted(total)
        known = _known(total.category, priors, weights) if masses else None
        if known is not None:
            mass = sum_masses(masses)
            count = known.count_of(mass)
            found.append(
                CountLine(
                    category=total.category,
                    name=names.category(total.category),
                    mass=mass,
                    item_g=known.item_g,
                    count=count,
                    method=known.method,
                    basis=known.basis,
                    code=known.code,
                    range_is=known.range_is(count),
                )
            )
    return tuple(found)


def item_weight_table(
    ledger: Ledger, names: Names, weights: ItemWeights | None
) -> ItemWeightTable | None:
    """Return the mean item weights of the categories that the sort holds."""
    if weights is None:
        return None
    found = (weights.pooled.get(total.category) for total in names.ordered(ledger.categories))
    lines = (
        ItemWeightLine(
            each.category,
            names.category(each.category),
            each.item(),
            each.batches,
            each.objects,
            each.sorts,
        )
        for each in found
        if each is not None
    )
    return ItemWeightTable(weights.scope, weights.words, tuple(lines))


def far_lines(ledger: Ledger, names: Names, weights: ItemWeights | None) -> tuple[FarLine, ...]:
    """Return the piles of this sort whose mean item weight is far from usual."""
    far = {each.batch_id: each for each in weights.far} if weights else {}
    return tuple(
        FarLine(
            category=pile.batch.category,
            name=names.category(pile.batch.category),
            label=pile.batch.label,
            item_g=far[pile.batch.id].item_g,
            low_g=far[pile.batch.id].low_g,
            high_g=far[pile.batch.id].high_g,
            basis=far[pile.batch.id].basis,
        )
        for pile in ledger.batches
        if pile.batch.id in far
    )


def far_notes(lines: Iterable[FarLine]) -> Iterator[Note]:
    """Yield what to look at where a pile's objects weigh far from usual."""
    for line in lines:
        what = f"{line.name}, {line.label!r}" if line.label else line.name
        yield Note(
            "far_item_weight",
            f"{what}: {line.item_g:.1f} g an object, far from the {line.low_g:.1f} to "
            f"{line.high_g:.1f} g expected ({line.basis}). Wrong pile, wrong count or unit, wet, "
            "or contents left in? Look at the pile and the reading again.",
        )


def _uncounted(total: CategoryTotal) -> tuple[Mass, ...]:
    if total.loose:
        return ()
    return tuple(
        pile.mass
        for pile in total.batches
        if pile.mass is not None and not pile.count and not pile.contents_left
    )


@dataclass(frozen=True, slots=True)
class _Known:
    """What is known of the weight of one object, from where, and what follows from it."""

    item_g: Decimal
    method: EstimateMethod
    basis: str
    code: str | None
    weight_of: Callable[[int], Range]
    count_of: Callable[[Mass], Range]
    range_is: Callable[[Range], str]


def _known(
    category: str,
    priors: PriorWeights | None,
    weights: ItemWeights | None,
    own: OwnWeight | None = None,
) -> _Known | None:
    """Return the pooled weight, else the sort's own, else a published one."""
    pooled = weights.pooled.get(category) if weights else None
    if pooled and weights:
        method: EstimateMethod = (
            "own_mean_item_weight" if weights.scope == "sort" else "pooled_mean_item_weight"
        )
        return _from_piles(pooled, method, weights.words, partial(_range_is, pooled))
    if own:
        pooled = PooledWeight(category, own.item_g, own.piles, own.count, 1, None)
        return _from_piles(pooled, "own_mean_item_weight", "this sort", lambda _: "")
    return _published(priors.of(category)) if priors else None


def _from_piles(
    pooled: PooledWeight, method: EstimateMethod, words: str, range_is: Callable[[Range], str]
) -> _Known:
    return _Known(
        item_g=pooled.item_g,
        method=method,
        basis=f"mean item weight of {words}: {pooled.objects} weighed objects, "
        f"piles: {pooled.batches}",
        code=None,
        weight_of=pooled.weight_of,
        count_of=pooled.count_of,
        range_is=range_is,
    )


def _range_is(pooled: PooledWeight, found: Range) -> str:
    if found.level is None:
        return ONE_BATCH
    return f"{found.level * 100:.0f} % prediction interval, t between {pooled.batches} piles"


def _published(known: Sequence[PriorWeight]) -> _Known | None:
    """Return the first published weight; several show how far published ones spread."""
    if not known:
        return None
    used, grams = known[0], [each.item_g for each in known]

    def with_span(value: Decimal, low: Decimal, high: Decimal) -> Range:
        return Range(value, low, high) if len(known) > 1 else Range(value)

    return _Known(
        item_g=used.item_g,
        method="prior_item_weight",
        basis=f"{used.material}: {used.containers_per_lb} per lb, {used.date}, {used.source}",
        code=used.code,
        weight_of=lambda n: with_span(n * used.item_g, n * min(grams), n * max(grams)),
        count_of=lambda mass: with_span(
            mass.value_g / used.item_g, mass.low_g / max(grams), mass.high_g / min(grams)
        ),
        range_is=lambda _: PUBLISHED_SPAN if len(known) > 1 else "",
    )
