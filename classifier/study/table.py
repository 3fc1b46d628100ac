"""The totals of a study as arrays: one row a sort, one column a category.

Which pile an object belongs to, and which way a pile's weight goes, follows `domain.ledger` and
`domain.allocation`; a test holds the two together on random logs.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from classifier.log.records import WITH_CONTENTS, SortInfo
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from classifier.rules.programme_rules import ROUTES, UNDECIDED
from classifier.study.totals import CalledPhotos, NamedItems, SortTotals, WeighedPile

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class StudyTable:
    """Sorts by categories.

    Parameters
    ----------
    sorts : tuple of SortInfo
        The rows.
    categories, routes : tuple of str
        The columns, in the order of the list of categories, and the ways to go.
    grams, low, high : ndarray of shape (n_sorts, n_categories)
        Measured net mass with the bounds of the scales; a pile too light for its scale is in `high`
        alone.
    objects : ndarray of int, shape (n_sorts, n_categories)
        Objects counted.
    unweighed : ndarray of bool, shape (n_sorts, n_categories)
        Found, and not or not wholly weighed: its mass is more than `grams` says.
    by_route, split : ndarray of shape (n_sorts, n_categories, n_routes)
        Measured mass by route, and which part of it was split among routes by counts.
    objects_by_route : ndarray of int, of the same shape
        Objects counted.
    contents_left : int
        Piles with contents left in.
    photos : tuple of CalledPhotos
        For the correction of counts.
    """

    sorts: tuple[SortInfo, ...]
    categories: tuple[str, ...]
    routes: tuple[str, ...]
    grams: Floats
    low: Floats
    high: Floats
    objects: NDArray[np.int64]
    unweighed: NDArray[np.bool_]
    by_route: Floats
    split: Floats
    objects_by_route: NDArray[np.int64]
    contents_left: int
    photos: tuple[CalledPhotos, ...]

    def rows(self, chosen: NDArray[np.intp]) -> StudyTable:
        """Return the table of some of the sorts."""
        return self.merged([[int(each)] for each in chosen])

    def merged(self, groups: Sequence[Sequence[int]]) -> StudyTable:
        """Return a table with one row for each group of sorts, their masses and counts added.

        The row has the first sort of its group, and masses are scaled to its days: a container
        that was filled over twice as many days counts by half. Counts stay as they were made.
        """
        adding = np.zeros((len(groups), len(self.sorts)))
        for row, group in enumerate(groups):
            days = np.array([self.sorts[each].days for each in group])
            adding[row, list(group)] = days[0] / days
        counts = (adding > 0).astype(np.int64)

        def added(array: Floats) -> Floats:
            return np.asarray(np.tensordot(adding, array, axes=1))

        return replace(
            self,
            sorts=tuple(self.sorts[group[0]] for group in groups),
            grams=added(self.grams),
            low=added(self.low),
            high=added(self.high),
            objects=np.tensordot(counts, self.objects, axes=1),
            unweighed=(counts @ self.unweighed.astype(np.int64)) > 0,
            by_route=added(self.by_route),
            split=added(self.split),
            objects_by_route=np.tensordot(counts, self.objects_by_route, axes=1),
        )


def study_table(
    totals: SortTotals, categories: Categories, programmes: Mapping[str, Programme]
) -> StudyTable:
    """Return the totals of a study as arrays.

    A pile that was weighed and not counted goes the one way that the rules of its sort's programme
    allow, if one; a programme that isn't there leaves it undecided.
    """
    return _Builder(totals, categories, programmes).table()


class _Builder:
    def __init__(
        self, totals: SortTotals, categories: Categories, programmes: Mapping[str, Programme]
    ) -> None:
        self.totals = totals
        self.programmes = programmes
        seen = {*totals.items.categories, *totals.piles.column("category")}
        listed = [each.id for each in categories.categories if each.id in seen]
        self.categories = (*listed, *sorted(seen.difference(listed)))
        ways = {route for route in set(totals.items.routes) if route is not None}
        self.routes = (*ROUTES, UNDECIDED, *sorted(ways.difference(ROUTES, {UNDECIDED})))
        self.row = {sort.id: place for place, sort in enumerate(totals.sorts)}
        self.column = {category: place for place, category in enumerate(self.categories)}
        self.way: dict[str | None, int] = {
            None: len(ROUTES),
            **{route: place for place, route in enumerate(self.routes)},
        }
        shape = (len(totals.sorts), len(self.categories))
        self.grams, self.low, self.high = np.zeros((3, *shape))
        self.by_route, self.split = np.zeros((2, *shape, len(self.routes)))
        self.unweighed = np.zeros(shape, dtype=bool)

    def table(self) -> StudyTable:
        counts = self._counts()  # (n, K, R)
        self.unweighed = counts.sum(axis=2) > 0
        piles = self.totals.piles
        rows = np.array([self.row[each] for each in piles.column("sort_id")], dtype=np.intp)
        columns = np.array([self.column[each] for each in piles.column("category")], dtype=np.intp)
        at = rows * max(len(self.categories), 1) + columns
        alone = np.bincount(at)[at] == 1 if len(piles) else np.zeros(0, dtype=bool)
        on_piles = counts.copy()
        on_piles[:, :, self.way[WITH_CONTENTS]] = 0
        self._alone(np.flatnonzero(alone), rows, columns, on_piles)
        several: dict[tuple[int, int], list[WeighedPile]] = defaultdict(list)
        for place in np.flatnonzero(~alone).tolist():
            several[int(rows[place]), int(columns[place])].append(piles.at(place))
        named = self._named()
        for cell, members in several.items():
            self._several(cell, members, named.get(cell, []), on_piles[cell])
        # A pile whose objects were all undone, and that nobody weighed, is nothing.
        something = (counts.sum(axis=2) > 0) | (self.high > 0) | self.unweighed
        kept = np.flatnonzero(something.any(axis=0))
        return StudyTable(
            sorts=self.totals.sorts,
            categories=tuple(self.categories[k] for k in kept),
            routes=self.routes,
            grams=self.grams[:, kept],
            low=self.low[:, kept],
            high=self.high[:, kept],
            objects=counts.sum(axis=2)[:, kept],
            unweighed=self.unweighed[:, kept],
            by_route=self.by_route[:, kept],
            split=self.split[:, kept],
            objects_by_route=counts[:, kept],
            contents_left=sum(self.totals.piles.column("contents_left")),
            photos=self.totals.photos,
        )

    def _counts(self) -> NDArray[np.int64]:
        shape = (*self.grams.shape, len(self.routes))
        counts = np.zeros(shape, dtype=np.int64)
        items = self.totals.items
        at = (
            np.array([self.row[each] for each in items.sort_ids], dtype=np.intp),
            np.array([self.column[each] for each in items.categories], dtype=np.intp),
            np.array([self.way[each] for each in items.routes], dtype=np.intp),
        )
        np.add.at(counts, at, np.array(items.objects, dtype=np.int64))
        return counts

    def _named(self) -> dict[tuple[int, int], list[NamedItems]]:
        named: dict[tuple[int, int], list[NamedItems]] = defaultdict(list)
        for each in self.totals.named:
            named[self.row[each.sort_id], self.column[each.category]].append(each)
        return named

    def _alone(
        self,
        places: NDArray[np.intp],
        rows: NDArray[np.intp],
        columns: NDArray[np.intp],
        counts: NDArray[np.int64],
    ) -> None:
        """Weigh the categories with one pile, which holds all of their objects."""
        piles = self.totals.piles
        rows, columns = rows[places], columns[places]
        grams, low, high, below = (
            np.array(piles.column(name), dtype=np.float64)[places]  # nan where there is none
            for name in ("grams", "low_g", "high_g", "below_g")
        )
        read, light = ~np.isnan(grams), ~np.isnan(below)
        touched = np.array(piles.column("touched"), dtype=bool)[places]
        own = counts[rows, columns]  # (P, R)
        objects = own.sum(axis=1)
        self.unweighed[rows, columns] = ~(read | light) & ((objects > 0) | touched)
        self.high[rows[light], columns[light]] = below[light]
        r, c, own, objects = rows[read], columns[read], own[read], objects[read]
        self.grams[r, c], self.low[r, c], self.high[r, c] = grams[read], low[read], high[read]
        share = own / np.maximum(objects, 1)[:, None]
        for at in np.flatnonzero(objects == 0):
            share[at, self._uncounted(int(r[at]), int(c[at]))] = 1.0
        masses = grams[read][:, None] * share
        self.by_route[r, c] = masses
        self.split[r, c] = np.where((share > 0).sum(axis=1)[:, None] > 1, masses, 0.0)

    def _several(
        self,
        cell: tuple[int, int],
        piles: Sequence[WeighedPile],
        named: Sequence[NamedItems],
        counts: NDArray[np.int64],
    ) -> None:
        """Weigh a category with several piles: each holds the objects that name it."""
        own = {pile.batch_id: np.zeros(len(self.routes)) for pile in piles}
        for each in named:
            if each.batch_id in own and each.route != WITH_CONTENTS:
                own[each.batch_id][self.way[each.route]] += each.objects
        used = [pile for pile in piles if pile.touched or own[pile.batch_id].any()]
        if len(used) == 1:
            own[used[0].batch_id] = counts.astype(np.float64)
        loose = counts - np.sum([own[pile.batch_id] for pile in used], axis=0)
        weighed = [pile for pile in used if pile.grams is not None or pile.below_g is not None]
        self.unweighed[cell] = (counts.any() and not weighed) or len(weighed) < len(used)
        for pile in weighed:
            self.high[cell] += pile.below_g or 0.0
            if pile.grams is not None:
                held = own[pile.batch_id] if own[pile.batch_id].any() else loose
                self._add(cell, pile, held)

    def _add(self, cell: tuple[int, int], pile: WeighedPile, held: Floats) -> None:
        grams = pile.grams or 0.0
        self.grams[cell] += grams
        self.low[cell] += pile.low_g or 0.0
        self.high[cell] += pile.high_g or 0.0
        if not held.any():
            held = np.zeros(len(self.routes))
            held[self._uncounted(*cell)] = 1.0
        masses = grams * held / held.sum()
        self.by_route[cell] += masses
        if (held > 0).sum() > 1:
            self.split[cell] += masses

    def _uncounted(self, row: int, column: int) -> int:
        programme = self.programmes.get(self.totals.sorts[row].programme_id)
        return self.way[
            UNDECIDED if programme is None else programme.only_route(self.categories[column])
        ]
