"""What the rows of one sort add up to: current items, piles and their weights.

`fold` is pure. Rows may come in any order (later rows are known by their time, then by their id)
and any number of times (a row seen twice counts once), so a resend changes nothing.

Rules, with their reasons:

- A void is final. A correction replaces the fields that it gives; the row it corrects stays.
- An item belongs to the pile it names if that pile is of the item's category. An item without
  such a pile (none named, or it was corrected into another category and so left the pile) belongs
  to the category's only pile where there is exactly one; else it is loose.
- An item that is set apart with its contents stands on no pile and is not loose either: it is
  counted, and weighed as nothing.
- Several weighings of one load (bucketful) of a pile are averaged, value and bounds, and their
  spread is reported. A reading beats "below resolution": somebody found a finer scale. The loads
  of a pile are added.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol, TypeVar

from classifier.errors import ConflictError, UnknownIdError
from classifier.log.piles import BatchTotal, batch_total, live_weighings
from classifier.log.records import (
    WITH_CONTENTS,
    Batch,
    Item,
    ItemChange,
    SortInfo,
    Weighing,
    WeighingVoid,
)


class _Row(Protocol):
    @property
    def id(self) -> str: ...


RowT = TypeVar("RowT", bound=_Row)


@dataclass(frozen=True, slots=True)
class Correction:
    """One correction of a record: the item as it stood before and after."""

    before: Item
    after: Item
    reason: str
    sorter: str
    at: datetime


@dataclass(frozen=True, slots=True)
class CategoryTotal:
    """All of one category: current items, its piles, and items in no pile (`loose`)."""

    category: str
    items: tuple[Item, ...]
    count: int
    batches: tuple[BatchTotal, ...]
    loose: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Ledger:
    """The state of one sort after all its rows; every tuple is in order of time, then id."""

    sort: SortInfo
    items: tuple[Item, ...]
    voided: tuple[Item, ...]
    corrections: tuple[Correction, ...]
    batches: tuple[BatchTotal, ...]
    voided_weighings: tuple[Weighing, ...]
    categories: tuple[CategoryTotal, ...]

    def category(self, category_id: str) -> CategoryTotal:
        """Return the total of one category, empty if nothing of it was recorded."""
        for total in self.categories:
            if total.category == category_id:
                return total
        return CategoryTotal(category_id, (), 0, (), ())


def fold(
    sort: SortInfo,
    items: Iterable[Item],
    changes: Iterable[ItemChange] = (),
    batches: Iterable[Batch] = (),
    weighings: Iterable[Weighing] = (),
    voids: Iterable[WeighingVoid] = (),
    *,
    keep_empty: bool = True,
) -> Ledger:
    """Return what the rows of `sort` add up to.

    Without `keep_empty`, piles that hold nothing are left out: started, then emptied by
    corrections, and never weighed.

    Raises
    ------
    ConflictError
        If one id belongs to two different rows, or a row belongs to another sort.
    UnknownIdError
        If a change, weighing or void names a row that is not there.
    ImpossibleWeighingError
        If a stored weighing can't be one.
    """
    piles = _of_sort(sort, unique_rows(batches))
    current, voided, corrections = _apply(
        _of_sort(sort, unique_rows(items)), sorted(unique_rows(changes).values(), key=_when)
    )
    live, dead = live_weighings(unique_rows(weighings), unique_rows(voids), piles)
    members, loose = _place(current, piles)
    if not keep_empty:
        used = {*members, *live, *(weighing.batch_id for weighing in dead)}
        piles = {ident: pile for ident, pile in piles.items() if ident in used}
        members, loose = _place(current, piles)
    totals = tuple(
        batch_total(pile, members[pile.id], live[pile.id])
        for pile in sorted(piles.values(), key=_when)
    )
    return Ledger(
        sort=sort,
        items=current,
        voided=voided,
        corrections=corrections,
        batches=totals,
        voided_weighings=dead,
        categories=_categories(current, totals, loose),
    )


def unique_rows(rows: Iterable[RowT]) -> dict[str, RowT]:
    """Return the rows by id, a repeated row once.

    Raises
    ------
    ConflictError
        If two rows have one id and differ.
    """
    found: dict[str, RowT] = {}
    for row in rows:
        if found.setdefault(row.id, row) != row:
            raise ConflictError(
                f"two different {type(row).__name__} rows have the id {row.id}: an id is made "
                "once; record the second under a new id",
                id=row.id,
            )
    return found


def _when(row: Item | ItemChange | Batch) -> tuple[datetime, str]:
    """Order rows by time; the id settles equal times, so that any input order gives one result."""
    return row.at, row.id


SortRowT = TypeVar("SortRowT", Item, Batch)


def _of_sort(sort: SortInfo, rows: dict[str, SortRowT]) -> dict[str, SortRowT]:
    for row in rows.values():
        if row.sort_id != sort.id:
            raise ConflictError(
                f"row {row.id} belongs to sort {row.sort_id}, not to {sort.id}: fold one sort at "
                "a time",
                id=row.id,
            )
    return rows


def _apply(
    items: dict[str, Item], changes: Sequence[ItemChange]
) -> tuple[tuple[Item, ...], tuple[Item, ...], tuple[Correction, ...]]:
    """Return current items, voided items and the corrections of current ones."""
    voided_ids = {change.item_id for change in changes if change.kind == "void"}
    current = dict(items)
    corrections = []
    for change in changes:
        if change.item_id not in items:
            raise UnknownIdError(
                f"change {change.id} names item {change.item_id}, which is not in this sort",
                id=change.item_id,
            )
        if change.kind == "correct" and change.item_id not in voided_ids:
            before = current[change.item_id]
            after = changed(before, change)
            current[change.item_id] = after
            corrections.append(Correction(before, after, change.reason, change.sorter, change.at))
    ordered = sorted(current.values(), key=_when)
    return (
        tuple(item for item in ordered if item.id not in voided_ids),
        tuple(item for item in ordered if item.id in voided_ids),
        tuple(corrections),
    )


def changed(item: Item, change: ItemChange) -> Item:
    """Return an item with the fields that a change gives; a void gives none."""
    return replace(
        item,
        category=item.category if change.category is None else change.category,
        count=item.count if change.count is None else change.count,
        route=item.route if change.route is None else change.route,
        facts=item.facts if change.facts is None else change.facts,
        batch_id=item.batch_id if change.batch_id is None else change.batch_id,
    )


def _place(
    items: Sequence[Item], piles: Mapping[str, Batch]
) -> tuple[dict[str, list[Item]], dict[str, list[Item]]]:
    """Return items by pile id, and loose items by category."""
    of_category: dict[str, list[str]] = defaultdict(list)
    for pile in piles.values():
        of_category[pile.category].append(pile.id)
    members: dict[str, list[Item]] = defaultdict(list)
    loose: dict[str, list[Item]] = defaultdict(list)
    for item in items:
        if item.route == WITH_CONTENTS:
            continue
        own = of_category.get(item.category, [])
        if item.batch_id in own:
            members[item.batch_id].append(item)
        elif len(own) == 1:
            members[own[0]].append(item)
        else:
            loose[item.category].append(item)
    return members, loose


def _categories(
    items: Sequence[Item], batches: Sequence[BatchTotal], loose: Mapping[str, list[Item]]
) -> tuple[CategoryTotal, ...]:
    """Return the totals by category, in order of category id."""
    of: dict[str, list[Item]] = defaultdict(list)
    for item in items:
        of[item.category].append(item)
    piles: dict[str, list[BatchTotal]] = defaultdict(list)
    for total in batches:
        piles[total.batch.category].append(total)
    return tuple(
        CategoryTotal(
            category=category,
            items=tuple(of[category]),
            count=sum(item.count for item in of[category]),
            batches=tuple(piles[category]),
            loose=tuple(loose.get(category, ())),
        )
        for category in sorted({*of, *piles})
    )
