"""What a report works out: weights from counts, counts from weights, and what looks wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from classifier.log.ledger import CategoryTotal, Ledger
from classifier.log.quantities import Mass, sum_masses
from classifier.report.categories import Names, unweighed
from classifier.report.conversions import ItemWeights, PooledWeight, Range
from classifier.report.item_weights import OwnWeight, PriorWeights, own_item_weight
from classifier.report.lines import (
    CountLine,
    EstimatedLine,
    EstimateMethod,
    FarLine,
    ItemWeightLine,
    ItemWeightTable,
    Note,
)

ONE_BATCH = "one batch: how much batches differ can't be told"
PUBLISHED_SPAN = "span of the published values, no confidence interval"


def estimated_lines(
    ledger: Ledger, names: Names, priors: PriorWeights | None, weights: ItemWeights | None
) -> tuple[EstimatedLine, ...]:
    """Return weights for objects that were counted and not weighed, where there is a basis."""
    found = []
    for total in names.ordered(ledger.categories):
        count, _ = unweighed(total)
        if not count:
            continue
        name = names.category(total.category)
        own = own_item_weight(total.batches)
        pooled = weights.pooled.get(total.category) if weights else None
        if pooled and weights:
            found.append(_from_pooled(name, count, pooled, weights))
        elif own:
            found.append(_from_own(total.category, name, count, own))
        elif priors and priors.of(total.category):
            found.append(_from_prior(total.category, name, count, priors))
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
        if not masses:
            continue
        line = _count_line(total.category, names, masses, priors, weights)
        if line is not None:
            found.append(line)
    return tuple(found)


def item_weight_table(
    ledger: Ledger, names: Names, weights: ItemWeights | None
) -> ItemWeightTable | None:
    """Return the mean item weights of the categories that the sort holds."""
    if weights is None:
        return None
    lines = []
    for total in names.ordered(ledger.categories):
        pooled = weights.pooled.get(total.category)
        if pooled is not None:
            name = names.category(total.category)
            lines.append(
                ItemWeightLine(
                    total.category,
                    name,
                    pooled.item(),
                    pooled.batches,
                    pooled.objects,
                    pooled.sorts,
                )
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


def _count_line(
    category: str,
    names: Names,
    masses: tuple[Mass, ...],
    priors: PriorWeights | None,
    weights: ItemWeights | None,
) -> CountLine | None:
    mass = sum_masses(masses)
    pooled = weights.pooled.get(category) if weights else None
    if pooled and weights:
        count, code, method = pooled.count_of(mass), None, _method(weights)
        item_g, basis, range_is = pooled.item_g, _basis(pooled, weights), _range_is(count, pooled)
    elif priors and priors.of(category):
        known = [prior.item_g for prior in priors.of(category)]
        item_g, code, method = known[0], priors.of(category)[0].code, "prior_item_weight"
        basis, spread = _prior_basis(category, priors), len(known) > 1
        low, high = mass.low_g / max(known), mass.high_g / min(known)
        count = Range(mass.value_g / item_g, *((low, high) if spread else ()))
        range_is = PUBLISHED_SPAN if spread else ""
    else:
        return None
    return CountLine(
        category=category,
        name=names.category(category),
        mass=mass,
        item_g=item_g,
        value=count.value,
        low=count.low,
        high=count.high,
        method=method,
        basis=basis,
        code=code,
        level=count.level,
        range_is=range_is,
    )


def _method(weights: ItemWeights) -> EstimateMethod:
    return "own_mean_item_weight" if weights.scope == "sort" else "pooled_mean_item_weight"


def _basis(pooled: PooledWeight, weights: ItemWeights) -> str:
    return (
        f"mean item weight of {weights.words}: {pooled.objects} weighed objects, "
        f"piles: {pooled.batches}"
    )


def _prior_basis(category: str, priors: PriorWeights) -> str:
    used = priors.of(category)[0]
    return f"{used.material}: {used.containers_per_lb} per lb, {used.date}, {used.source}"


def _range_is(found: Range, pooled: PooledWeight) -> str:
    if found.level is None:
        return ONE_BATCH
    return f"{found.level * 100:.0f} % prediction interval, t between {pooled.batches} piles"


def _from_own(category: str, name: str, count: int, own: OwnWeight) -> EstimatedLine:
    return EstimatedLine(
        category=category,
        name=name,
        count=count,
        item_g=own.item_g,
        grams=count * own.item_g,
        low_g=None,
        high_g=None,
        method="own_mean_item_weight",
        basis=f"mean item weight of this sort: {own.count} weighed objects, piles: {own.piles}",
        code=None,
    )


def _from_pooled(
    name: str, count: int, pooled: PooledWeight, weights: ItemWeights
) -> EstimatedLine:
    grams = pooled.weight_of(count)
    return EstimatedLine(
        category=pooled.category,
        name=name,
        count=count,
        item_g=pooled.item_g,
        grams=grams.value,
        low_g=grams.low,
        high_g=grams.high,
        method=_method(weights),
        basis=_basis(pooled, weights),
        code=None,
        level=grams.level,
        range_is=_range_is(grams, pooled),
    )


def _from_prior(category: str, name: str, count: int, priors: PriorWeights) -> EstimatedLine:
    used, *others = priors.of(category)
    weights = [used.item_g, *(other.item_g for other in others)]
    spread = len(weights) > 1
    return EstimatedLine(
        category=category,
        name=name,
        count=count,
        item_g=used.item_g,
        grams=count * used.item_g,
        low_g=count * min(weights) if spread else None,
        high_g=count * max(weights) if spread else None,
        method="prior_item_weight",
        basis=_prior_basis(category, priors),
        code=used.code,
        range_is=PUBLISHED_SPAN if spread else "",
    )
