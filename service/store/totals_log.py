"""What many sorts add up to, worked out by the database: a study may hold a million items.

The same totals as `classifier.log.ledger.fold` gives sort by sort; a test holds the two
together on random logs. Items are summed as first recorded; those few that were corrected or undone
later are read one by one, taken off as they were and put back as they are.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    Connection,
    Double,
    Select,
    String,
    Subquery,
    case,
    cast,
    func,
    or_,
    select,
    type_coerce,
)

from classifier.log.quantities import Unit
from classifier.log.records import SortInfo
from classifier.study.totals import CalledPhotos, CountedItems, NamedItems, SortTotals, WeighedPiles
from service.store.append import newest_of, select_sorts, undone
from service.store.part import LogPart
from service.store.rows import to_sort
from service.store.tables import (
    batches,
    captures,
    item_changes,
    items,
    models,
    sorts,
    weighing_voids,
    weighings,
)

_AT_ONCE = 25
"""Sorts in one query: sums over few sorts fit the processor's cache, and no database limits the
list."""
_FIELDS = ("category", "route", "batch_id", "count")


class TotalsLog(LogPart):
    """The part of the log that adds up whole studies."""

    def sort_totals(self, sort_ids: Sequence[str]) -> SortTotals:
        """Return what was counted and weighed in each of the sorts, as it stood at one moment.

        Ids of no sort are left out.
        """
        with self._database.read() as connection:
            piles = _piles(connection, sort_ids)
            changed = _changed_items(connection, sort_ids)
            cells = Counter(zip(piles.column("sort_id"), piles.column("category"), strict=True))
            several = {cell for cell, number in cells.items() if number > 1}
            return SortTotals(
                sorts=_sorts(connection, sort_ids),
                items=_items(connection, sort_ids, changed),
                named=_named(connection, several, changed),
                piles=piles,
                photos=_photos(connection, sort_ids),
            )


def _chunks(sort_ids: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(sort_ids), _AT_ONCE):
        yield sort_ids[start : start + _AT_ONCE]


def _parts(
    connection: Connection, query: Select[Any], column: Any, sort_ids: Sequence[str]
) -> Iterator[Sequence[Any]]:
    """Yield the rows of a few sorts at a time: rows that die young cost the collector nothing."""
    for chunk in _chunks(sort_ids):
        yield connection.execute(query.where(column.in_(chunk))).all()


def _rows(
    connection: Connection, query: Select[Any], column: Any, sort_ids: Sequence[str]
) -> Iterator[Any]:
    for part in _parts(connection, query, column, sort_ids):
        yield from part


def _sorts(connection: Connection, sort_ids: Sequence[str]) -> tuple[SortInfo, ...]:
    query = select_sorts().order_by(sorts.c.seq)
    found = (to_sort(row._mapping) for row in _rows(connection, query, sorts.c.id, sort_ids))
    return tuple(sorted(found, key=lambda sort: (sort.sorted_on, sort.name, sort.id)))


@dataclass(frozen=True, slots=True)
class _Changed:
    """An item that was changed: its fields as first recorded, and as they are, None if undone."""

    sort_id: str
    first: dict[str, Any]
    now: dict[str, Any] | None


def _changed_items(connection: Connection, sort_ids: Sequence[str]) -> list[_Changed]:
    query = (
        select(
            items.c.id,
            items.c.sort_id,
            item_changes.c.kind,
            *(items.c[name].label(f"first_{name}") for name in _FIELDS),
            *(item_changes.c[name] for name in _FIELDS),
        )
        .join(items, items.c.id == item_changes.c.item_id)
        .order_by(item_changes.c.seq)
    )
    found: dict[str, _Changed] = {}
    for row in _rows(connection, query, item_changes.c.sort_id, sort_ids):
        given = row._mapping
        if row.id not in found:
            first = {name: given[f"first_{name}"] for name in _FIELDS}
            found[row.id] = _Changed(row.sort_id, first, first)
        before = found[row.id]
        now = before.now
        if row.kind == "void":
            now = None
        elif now is not None:
            now = {**now, **{name: given[name] for name in _FIELDS if given[name] is not None}}
        found[row.id] = _Changed(row.sort_id, before.first, now)
    return list(found.values())


def _items(
    connection: Connection, sort_ids: Sequence[str], changed: Sequence[_Changed]
) -> CountedItems:
    key = (items.c.sort_id, items.c.category, items.c.route)
    query = select(*key, func.sum(items.c.count), func.count()).group_by(*key)
    of_sort: dict[str, list[_Changed]] = defaultdict(list)
    for each in changed:
        of_sort[each.sort_id].append(each)
    found = CountedItems()
    for chunk in _chunks(sort_ids):
        rows: Sequence[Any] = connection.execute(query.where(items.c.sort_id.in_(chunk))).all()
        here = [each for sort_id in chunk for each in of_sort.get(sort_id, ())]
        if here:
            sums = {row[:3]: row[3:] for row in rows}
            _put_right(sums, here, ("category", "route"))
            rows = [(*key, *sums[key]) for key in sums if sums[key][1]]
        found.add(rows)
    return found


def _named(
    connection: Connection, cells: set[tuple[str, str]], changed: Sequence[_Changed]
) -> tuple[NamedItems, ...]:
    """Return items by pile, of the cells (sort and category) that have more than one."""
    key = (items.c.sort_id, items.c.category, items.c.route, items.c.batch_id)
    query = select(*key, func.sum(items.c.count), func.count()).group_by(*key)
    sort_ids = sorted({sort_id for sort_id, _ in cells})
    sums = {row[:4]: row[4:] for row in _rows(connection, query, items.c.sort_id, sort_ids)}
    _put_right(sums, changed, ("category", "route", "batch_id"))
    return tuple(NamedItems(*key, *sums[key]) for key in sums if sums[key][1] and key[:2] in cells)


def _put_right(sums: dict[Any, Any], changed: Sequence[_Changed], fields: tuple[str, ...]) -> None:
    """Take changed items off the sums as they were, and add them as they are."""
    for each in changed:
        for values, sign in ((each.first, -1), (each.now, 1)):
            if values is not None:
                key = (each.sort_id, *(values[name] for name in fields))
                objects, records = sums.get(key, (0, 0))
                sums[key] = (objects + sign * values["count"], records + sign)


def _grams(unit: Any) -> Any:
    return case({each.value: float(each.grams) for each in Unit}, value=unit)


def _number(column: Any) -> Any:
    # The text that was read, as a number: exact decimals are for single sorts.
    return cast(type_coerce(column, String), Double)


def _nets() -> Subquery:
    """Return net mass and tolerance of each weighing in grams, by the rules of `net_mass`."""
    w = weighings.c
    step = _number(w.resolution) * _grams(w.unit)
    tare_unit = func.coalesce(w.tare_unit, w.unit)
    no_tare = or_(w.tare.is_(None), (_number(w.tare) == 0) & (w.method == "container"))
    own_step = _number(w.tare_resolution) * _grams(tare_unit)
    tare_step = case((no_tare, 0.0), (w.tare_resolution.is_(None), step), else_=own_step)
    tare = func.coalesce(_number(w.tare), 0.0) * _grams(tare_unit)
    # Joined, not asked for by EXISTS: SQLite would ask again for each of the sums.
    joined = weighings.outerjoin(weighing_voids, weighing_voids.c.weighing_id == w.id)
    found = select(
        w.sort_id,
        w.batch_id,
        w.load,
        weighing_voids.c.seq.is_(None).label("stands"),
        (w.method != "below_resolution").label("read"),
        step.label("step"),
        (_number(w.gross) * _grams(w.unit) - tare).label("net"),
        ((step + tare_step) / 2).label("half"),
        w.contents_left,
    )
    return found.select_from(joined).subquery()


def _loads() -> Subquery:
    """Return each load of each batch: mean of what was read, else the bound of a light one."""
    n = _nets().c
    read, unread = n.stands & n.read, n.stands & ~n.read
    low = case((n.net > n.half, n.net - n.half), else_=0.0)
    return (
        select(
            n.sort_id,
            n.batch_id,
            func.avg(case((read, n.net))).label("grams"),
            func.avg(case((read, low))).label("low"),
            func.avg(case((read, n.net + n.half))).label("high"),
            func.min(case((unread, n.step))).label("below"),
            func.max(case((n.stands & n.contents_left, 1), else_=0)).label("left"),
        )
        .group_by(n.sort_id, n.batch_id, n.load)
        .subquery()
    )


def _piles(connection: Connection, sort_ids: Sequence[str]) -> WeighedPiles:
    each = _loads().c
    query = select(
        each.batch_id,
        func.sum(each.grams),
        func.sum(each.low),
        func.sum(func.coalesce(each.high, each.below)),
        func.max(each.left),
    ).group_by(each.batch_id)
    heaps = select(batches.c.sort_id, batches.c.category, batches.c.id).order_by(batches.c.seq)
    nothing = (None, None, None, 0)
    found = WeighedPiles()
    for chunk in _chunks(sort_ids):
        sums = connection.execute(query.where(each.sort_id.in_(chunk))).all()
        weighed = {row[0]: row[1:] for row in sums}
        rows = []
        for heap in connection.execute(heaps.where(batches.c.sort_id.in_(chunk))).all():
            grams, low_g, most, left = weighed.get(heap[2], nothing)
            high_g, light = (None, most) if grams is None else (most, None)
            rows.append((*heap, heap[2] in weighed, grams, low_g, high_g, light, bool(left)))
        found.add(rows)
    return found


def _photos(connection: Connection, sort_ids: Sequence[str]) -> tuple[CalledPhotos, ...]:
    """Return photographed items by what the network called them and what people said blind.

    Nothing where no photo was judged blind: there is nothing to correct by. Strata are the answer
    of the network by itself: learning in place changes with the very labels that are to judge it.
    """
    audits = select(captures.c.id).where(captures.c.audit).limit(1)
    if not any(True for _ in _rows(connection, audits, captures.c.sort_id, sort_ids)):
        return ()
    form = captures.c.forms[0][0].as_string().label("form")
    own, changed = item_changes.c.item_id == items.c.id, item_changes.c.category.is_not(None)
    last = newest_of(item_changes.c.category, own, changed).scalar_subquery()
    # Within: an expression with parameters can't be grouped by on every server.
    seen = (
        select(captures.c.sort_id, captures.c.audit, form, items.c.category, last.label("last"))
        .join(items, items.c.capture_id == captures.c.id)
        .where(captures.c.model_id.is_not(None), ~undone())
        .subquery()
        .c
    )
    every = select(seen.form, func.count()).where(seen.form.is_not(None)).group_by(seen.form)
    said = func.coalesce(seen.last, seen.category)
    blind = select(seen.form, said).where(seen.form.is_not(None), seen.audit)
    numbers: Counter[str] = Counter()
    for name, count in _rows(connection, every, seen.sort_id, sort_ids):
        numbers[name] += count
    answers: dict[str, Counter[str]] = defaultdict(Counter)
    for name, category in _rows(connection, blind, seen.sort_id, sort_ids):
        answers[name][category] += 1
    best = _best_categories(connection)
    return tuple(
        CalledPhotos(name, best.get(name, ""), numbers[name], dict(answers[name]))
        for name in sorted(numbers)
    )


def _best_categories(connection: Connection) -> dict[str, str]:
    """Return the category that each form most likely is, by the newest model that knows it."""
    found: dict[str, str] = {}
    for content in connection.scalars(select(models.c.content).order_by(models.c.seq)):
        for form, weights in content["form_categories"].items():
            found[form] = max(weights, key=weights.get) if weights else ""
    return found
