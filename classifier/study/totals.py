"""What a store hands over of a study: sums by sort, never single items.

A study may be a million items in a hundred thousand sums, so sums come as columns: as many small
objects would cost more time than the database needs to add them up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from classifier.log.records import SortInfo


@dataclass(frozen=True, slots=True)
class CountedItems:
    """Objects by sort, category and route: columns of one length, for there may be very many.

    `records` is how many entries the objects are.
    """

    sort_ids: list[str] = field(default_factory=list)
    categories: list[str] = field(default_factory=list)
    routes: list[str | None] = field(default_factory=list)
    objects: list[int] = field(default_factory=list)
    records: list[int] = field(default_factory=list)

    def add(self, rows: Iterable[Sequence[Any]]) -> None:
        """Add rows of sort, category, route, objects and records."""
        columns = (self.sort_ids, self.categories, self.routes, self.objects, self.records)
        for column, more in zip(columns, zip(*rows, strict=True), strict=False):
            column.extend(more)  # type: ignore[attr-defined]


class NamedItems(NamedTuple):
    """The same where the category has several piles in the sort: by the pile that they name."""

    sort_id: str
    category: str
    route: str | None
    batch_id: str | None
    objects: int
    records: int


class WeighedPile(NamedTuple):
    """A pile with its net mass in grams, None without a reading that stands.

    `below_g` is the bound of a pile too light for its scale; `touched` says whether anybody ever
    weighed it, also where that was taken back.
    """

    sort_id: str
    category: str
    batch_id: str
    touched: bool
    grams: float | None
    low_g: float | None
    high_g: float | None
    below_g: float | None
    contents_left: bool


@dataclass(frozen=True, slots=True)
class WeighedPiles:
    """Piles as columns, in the order of the fields of `WeighedPile`."""

    columns: tuple[list[Any], ...] = field(
        default_factory=lambda: tuple([] for _ in WeighedPile._fields)
    )

    def add(self, rows: Iterable[Sequence[Any]]) -> None:
        """Add rows with the fields of `WeighedPile`."""
        for column, more in zip(self.columns, zip(*rows, strict=True), strict=False):
            column.extend(more)

    def __len__(self) -> int:
        return len(self.columns[0])

    def at(self, place: int) -> WeighedPile:
        """Return one pile."""
        return WeighedPile(*(column[place] for column in self.columns))

    def column(self, name: str) -> list[Any]:
        """Return one field of all piles."""
        return self.columns[WeighedPile._fields.index(name)]


@dataclass(frozen=True, slots=True)
class CalledPhotos:
    """Photographed items that the network called one form.

    `category` is what that form most likely is; `blind` counts the audited ones by the category
    that the sorter chose before seeing the suggestion.
    """

    form: str
    category: str
    items: int
    blind: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class SortTotals:
    """Everything a study is worked out from, as it stood at one moment."""

    sorts: tuple[SortInfo, ...]
    items: CountedItems
    named: tuple[NamedItems, ...]
    piles: WeighedPiles
    photos: tuple[CalledPhotos, ...]
