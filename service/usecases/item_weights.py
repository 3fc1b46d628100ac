"""Mean item weights for reports and piles, from one sort, its study or the whole store."""

from __future__ import annotations

from collections.abc import MutableMapping, Sequence
from decimal import Decimal

from classifier.domain.conversions import (
    FarFromUsual,
    ItemWeights,
    PooledWeight,
    Scope,
    far_from_prior,
)
from classifier.domain.item_weights import CountedMass, counted_masses
from classifier.domain.ledger import Ledger, fold
from classifier.domain.records import SortInfo
from classifier.estimators.conversion import fit_item_weight
from classifier.estimators.far_batches import SURE, far_batches
from service.usecases.services import Services

MOST_SORTS = 200
"""Sorts that one report pools: more add little certainty and take time to read."""

Known = MutableMapping[str, tuple[CountedMass, ...]]
"""Batches by sort, for whoever makes many reports in a row."""


def item_weights(
    services: Services, own: Ledger, *, scope: Scope | None = None, known: Known | None = None
) -> ItemWeights:
    """Return mean item weights by category, with the batches of this sort that are far from them.

    Without a `scope` they are pooled over the sort's study, or outside one from the sort alone.
    """
    scope, words, sorts = _scope(services, own.sort, scope)
    known = {} if known is None else known
    known[own.sort.id] = counted_masses(own.batches)
    batches = [batch for sort in sorts for batch in _batches(services, sort, known)]
    by_category: dict[str, list[CountedMass]] = {}
    for batch in batches:
        by_category.setdefault(batch.category, []).append(batch)
    return ItemWeights(
        scope=scope,
        words=words,
        pooled={category: _pooled(category, own) for category, own in by_category.items()},
        far=(
            *(each for found in by_category.values() for each in _far(found, words, own.sort)),
            *(
                each
                for each in far_from_prior(batches, services.priors)
                if each.batch_id in {batch.batch_id for batch in known[own.sort.id]}
            ),
        ),
    )


def _scope(
    services: Services, sort: SortInfo, scope: Scope | None
) -> tuple[Scope, str, Sequence[SortInfo]]:
    if scope == "store":
        return scope, *_newest(sort, services.log.list_sorts(), "all {n} sorts of the store")
    study = None if scope == "sort" else services.log.studies_of_sorts([sort.id]).get(sort.id)
    if study is None:
        return "sort", "this sort", [sort]
    found = services.log.sorts_of_study(study.id)[::-1]
    return "study", *_newest(sort, found, f"the {{n}} sorts of the study {study.name!r}")


def _newest(sort: SortInfo, sorts: Sequence[SortInfo], words: str) -> tuple[str, list[SortInfo]]:
    """Return words and sorts, at most so many of the newest and always the one asked for."""
    others = [each for each in sorts if each.id != sort.id][: MOST_SORTS - 1]
    used, n = [sort, *others], len(sorts)
    if len(used) < n:
        return words.format(n=f"newest {len(used)} of {n}").replace(
            "all newest", "the newest"
        ), used
    return words.format(n=n), used


def _batches(services: Services, sort: SortInfo, known: Known) -> tuple[CountedMass, ...]:
    if sort.id not in known:
        rows = services.log.sort_rows(sort.id)
        ledger = fold(rows.sort, rows.items, rows.changes, rows.batches, rows.weighings, rows.voids)
        known[sort.id] = counted_masses(ledger.batches)
    return known[sort.id]


def _pooled(category: str, batches: Sequence[CountedMass]) -> PooledWeight:
    objects = sum(batch.count for batch in batches)
    grams = [float(batch.grams) for batch in batches]
    return PooledWeight(
        category=category,
        item_g=sum((batch.grams for batch in batches), Decimal(0)) / objects,
        batches=len(batches),
        objects=objects,
        sorts=len({batch.sort_id for batch in batches}),
        fit=None
        if len(batches) < 2
        else fit_item_weight(grams, [float(batch.count) for batch in batches]),
    )


def _far(batches: Sequence[CountedMass], words: str, sort: SortInfo) -> tuple[FarFromUsual, ...]:
    found = far_batches(
        [float(batch.grams) for batch in batches], [float(batch.count) for batch in batches]
    )
    return tuple(
        FarFromUsual(
            batch_id=batches[each.place].batch_id,
            item_g=batches[each.place].item_g,
            low_g=Decimal(repr(each.low_g)),
            high_g=Decimal(repr(each.high_g)),
            basis=f"from {each.others} other piles of {words}, {100 * SURE:g} % limits",
        )
        for each in found
        if batches[each.place].sort_id == sort.id
    )
