"""Short ways to make log rows for the tests of ledger and report."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from classifier.log.quantities import Unit
from classifier.log.records import (
    Batch,
    ChangeKind,
    Item,
    ItemChange,
    Method,
    SortInfo,
    Weighing,
    WeighingVoid,
)

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(minute: float) -> datetime:
    """Return a time so many minutes after the start of the sort."""
    return START + timedelta(minutes=minute)


def a_sort(*, days: int = 7, persons: int = 2, closed: bool = False) -> SortInfo:
    return SortInfo(
        id="s1",
        name="Kitchen bags",
        place="Mill Lane 4",
        stratum="households",
        sorted_on=date(2026, 3, 2),
        days=days,
        persons=persons,
        programme_id="alder_valley",
        sorters=("Ann", "Ben"),
        keeps_photos=True,
        created_at=START,
        closed=closed,
    )


def an_item(
    item_id: str,
    category: str = "pet_bottles",
    *,
    count: int = 1,
    route: str | None = "kerbside",
    batch_id: str | None = None,
    minute: float = 1,
    suggested: str | None = None,
    model_version: str | None = "first-1",
    facts: Mapping[str, str] | None = None,
    programme_version: str = "2026-1",
    sort_id: str = "s1",
) -> Item:
    return Item(
        id=item_id,
        sort_id=sort_id,
        capture_id=None,
        batch_id=batch_id,
        category=category,
        count=count,
        facts=facts or {},
        route=route,
        sorter="Ann",
        note="",
        at=at(minute),
        suggested=suggested,
        model_version=model_version,
        programme_version=programme_version,
    )


def a_change(
    change_id: str,
    item_id: str,
    kind: ChangeKind = "correct",
    *,
    category: str | None = None,
    count: int | None = None,
    route: str | None = None,
    facts: Mapping[str, str] | None = None,
    batch_id: str | None = None,
    minute: float = 20,
) -> ItemChange:
    return ItemChange(
        id=change_id,
        item_id=item_id,
        kind=kind,
        category=category,
        count=count,
        route=route,
        facts=facts,
        batch_id=batch_id,
        reason="looked again",
        sorter="Ben",
        at=at(minute),
    )


def a_batch(
    batch_id: str, category: str = "pet_bottles", *, minute: float = 5, sort_id: str = "s1"
) -> Batch:
    return Batch(
        id=batch_id, sort_id=sort_id, category=category, label=f"pile {batch_id}", at=at(minute)
    )


def a_weighing(
    weighing_id: str,
    batch_id: str = "b1",
    *,
    gross: str | None = "1.25",
    tare: str | None = "0.25",
    unit: Unit = Unit.KG,
    resolution: str = "0.01",
    method: Method = "container",
    tare_resolution: str | None = None,
    tare_unit: Unit | None = None,
    capacity: str | None = None,
    contents_left: bool = False,
    minute: float = 10,
    load: int = 1,
) -> Weighing:
    return Weighing(
        id=weighing_id,
        batch_id=batch_id,
        method=method,
        gross=None if gross is None else Decimal(gross),
        tare=None if tare is None else Decimal(tare),
        unit=unit,
        resolution=Decimal(resolution),
        tare_resolution=None if tare_resolution is None else Decimal(tare_resolution),
        capacity=None if capacity is None else Decimal(capacity),
        contents_left=contents_left,
        note="",
        sorter="Ann",
        at=at(minute),
        tare_unit=tare_unit,
        load=load,
    )


def too_light(
    weighing_id: str, batch_id: str = "b1", *, resolution: str = "0.01", load: int = 1
) -> Weighing:
    return a_weighing(
        weighing_id,
        batch_id,
        gross=None,
        tare=None,
        resolution=resolution,
        method="below_resolution",
        load=load,
    )


def a_void(void_id: str, weighing_id: str) -> WeighingVoid:
    return WeighingVoid(
        id=void_id, weighing_id=weighing_id, reason="wrong bucket", sorter="Ann", at=at(30)
    )
