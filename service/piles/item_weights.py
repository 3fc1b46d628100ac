"""Mean item weights for reports and piles, from one sort, its study or the whole store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from weakref import WeakKeyDictionary

from classifier.estimators.conversion import fit_item_weight
from classifier.estimators.far_batches import SURE, far_batches
from classifier.log.ledger import Ledger
from classifier.log.records import SortInfo
from classifier.report.conversions import (
    FarFromUsual,
    ItemWeights,
    PooledWeight,
    Scope,
    far_from_prior,
)
from classifier.report.item_weights import CountedMass, counted_masses
from service.services import Services
from service.store.log import Log

MOST_SORTS = 200
"""Sorts that one report pools: more add little certainty and take time to read."""

_Known = dict[str, tuple[tuple[int, ...], tuple[CountedMass, ...]]]
_KNOWN: WeakKeyDictionary[Log, _Known] = WeakKeyDictionary()
"""Batches by sort with the newest rows that they were worked out from, for as long as a log is
open: the piles page asks for a whole study after each weighing."""


def item_weights(services: Services, own: Ledger, *, scope: Scope | None = None) -> ItemWeights:
    """Return mean item weights by category, with the batches of this sort that are far from them.

    Without a `scope` they are pooled over the sort's study, or outside one from the sort alone.
    """
    scope, words, sorts = _scope(services, own.sort, scope)
    ours = counted_masses(own.batches)
    others = [sort.id for sort in sorts if sort.id != own.sort.id]
    batches = [*ours, *_batches(services, others)]
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
                if each.batch_id in {batch.batch_id for batch in ours}
            ),
        ),
    )


def _scope(
    services: Services, sort: SortInfo, scope: Scope | None
) -> tuple[Scope, str, Sequence[SortInfo]]:
    if scope == "store":
        which, used = _newest(sort, services.log.list_sorts(), "all")
        return scope, f"{which} of the store", used
    study = None if scope == "sort" else services.log.study_of_sort(sort.id)
    if study is None:
        return "sort", "this sort", [sort]
    which, used = _newest(sort, services.log.sorts_of_study(study.id)[::-1], "the")
    return "study", f"{which} of the study {study.name!r}", used


def _newest(sort: SortInfo, sorts: Sequence[SortInfo], whole: str) -> tuple[str, list[SortInfo]]:
    """Return which in words, and at most so many of the newest, always the one asked for."""
    others = [each for each in sorts if each.id != sort.id][: MOST_SORTS - 1]
    used, n = [sort, *others], len(sorts)
    if len(used) < n:
        return f"the newest {len(used)} of {n} sorts", used
    return "the one sort" if n == 1 else f"{whole} {n} sorts", used


def _batches(services: Services, sort_ids: Sequence[str]) -> Iterator[CountedMass]:
    """Give the batches of the sorts; only what grew since it was last asked for is read again."""
    known = _KNOWN.setdefault(services.log, {})
    for sort_id, newest in services.log.newest_rows(sort_ids).items() if sort_ids else ():
        before = known.get(sort_id)
        if before is None or before[0] != newest:
            ledger = services.log.sort_rows(sort_id).ledger()
            # Rows that came in between are read again the next time.
            before = known[sort_id] = (newest, counted_masses(ledger.batches))
        yield from before[1]


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
        [float(batch.grams) for batch in batches],
        [float(batch.count) for batch in batches],
        places=[place for place, batch in enumerate(batches) if batch.sort_id == sort.id],
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
    )
