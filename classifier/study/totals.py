"""What a store hands over of a study: sums by sort, never single items.

A study may be a million items in a hundred thousand sums: named tuples are quick to make.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from classifier.domain.records import SortInfo


class CountedItems(NamedTuple):
    """Objects of one sort, category and route; `records` is how many entries they are."""

    sort_id: str
    category: str
    route: str | None
    objects: int
    records: int


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

    `below_g` is the bound of a pile too light for its scale; `touched` tells whether anybody ever
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
    items: tuple[CountedItems, ...]
    named: tuple[NamedItems, ...]
    piles: tuple[WeighedPile, ...]
    photos: tuple[CalledPhotos, ...]
