"""Short ways to enter something in a test."""

from __future__ import annotations

from datetime import date
from typing import Any

from classifier.log.records import Item, SortInfo
from service.piles import usecases as piles
from service.piles.usecases import WeighingLine
from service.services import Services
from service.sorting import captures, items
from service.sorting.captures import CaptureView
from service.sorting.items import ItemView
from service.sorts.usecases import correct_sort, create_sort
from tests.fakes import jpeg, new_id

CARDBOARD = "corrugated_cardboard"


def start(services: Services, **given: Any) -> SortInfo:
    """Start a sort."""
    sent = {
        "sort_id": new_id(),
        "name": "Kitchen bag",
        "sorted_on": date(2026, 5, 1),
        "days": 7,
        "persons": 2,
        "programme_id": "alder_valley",
        **given,
    }
    return create_sort(services, **sent)


def correct_details(services: Services, sort: SortInfo, **given: Any) -> SortInfo:
    """Correct details of a sort."""
    return correct_sort(services, sort_id=sort.id, **{"correction_id": new_id(), **given})


def take(services: Services, sort: SortInfo, *, shade: int = 120, **given: Any) -> CaptureView:
    """Take a photo."""
    sent = {"capture_id": new_id(), "data": jpeg(shade), **given}
    return captures.take_photo(services, sort_id=sort.id, **sent)


def enter(services: Services, sort: SortInfo, category: str = CARDBOARD, **given: Any) -> ItemView:
    """Confirm an item, without a photo unless one is given."""
    sent = {"item_id": new_id(), "sorter": "Ada", **given}
    return items.confirm(services, sort_id=sort.id, category=category, **sent)


def weigh(
    services: Services, sort: SortInfo, category: str | None = CARDBOARD, **given: Any
) -> WeighingLine:
    """Weigh a pile: 1.25 kg gross in a container of 0.25 kg."""
    sent = {
        "weighing_id": new_id(),
        "category": category,
        "method": "container",
        "gross": "1.25",
        "tare": "0.25",
        "unit": "kg",
        "resolution": "0.01",
        **given,
    }
    return piles.weigh(services, sort_id=sort.id, **sent)


def confirmed_item(services: Services, capture_id: str) -> Item | None:
    """Return what a photo was confirmed as, unless that was undone."""
    current = captures.get_capture(services, capture_id).confirmed
    return None if current is None else current.item


def counts(services: Services, sort: SortInfo) -> dict[str, int]:
    """Return the tally by category."""
    return {line.category: line.count for line in items.tally(services, sort.id).lines}
