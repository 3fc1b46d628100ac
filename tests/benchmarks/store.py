"""The store with ten thousand to a million items: what a request costs, and what it grows with."""

from __future__ import annotations

import tempfile
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient
from sqlalchemy import Table

from service.app import create_app
from service.model_cache import LoadedModel
from service.services import Services
from service.settings import Settings
from service.sorting import items
from service.store import tables
from service.wiring import build_services
from tests.benchmarks.measure import Figure, p95, say, wall_seconds

ITEMS_A_SORT = 200
LARGE_SORT = 2000
_CATEGORIES = (
    "corrugated_cardboard mixed_printed_paper pet_bottles hdpe_bottles rigid_plastics plastic_film "
    "aluminium_cans steel_cans glass_bottles_jars food"
).split()
_AT = datetime(2026, 5, 1, 9, tzinfo=UTC)
_SENT = "0" * 64  # nobody resends these


def store_sizes(sizes: list[int]) -> list[Figure]:
    """Measure the same requests in stores of several sizes, in a sort of 200 and one of 2,000."""
    figures = []
    for size in sizes:
        say(f"store of {size} items")
        with tempfile.TemporaryDirectory() as folder, _services(Path(folder)) as services:
            small = fill(services, size)
            large = add_sorts(services, 1, LARGE_SORT)[0]
            figures += _figures(services, size, small, large)
    return figures


def fill(services: Services, size: int) -> str:
    """Add sorts until there are `size` items, and return one in the middle."""
    sorts: list[str] = []
    left = max(1, size // ITEMS_A_SORT)
    while left:
        sorts += add_sorts(services, min(left, 250), ITEMS_A_SORT)
        left = max(0, left - 250)
    return sorts[len(sorts) // 2]


def add_sorts(services: Services, number: int, size: int) -> list[str]:
    """Insert whole sorts, each with its batches and weighings, in one transaction."""
    rows: dict[Table, list[dict[str, Any]]] = {
        table: [] for table in (tables.sorts, tables.batches, tables.items, tables.weighings)
    }
    ids = [str(uuid.uuid4()) for _ in range(number)]
    for count, sort_id in enumerate(ids):
        rows[tables.sorts].append(_sort(sort_id, count))
        for category in _CATEGORIES:
            batch = str(uuid.uuid4())
            own = {"sort_id": sort_id, "fingerprint": _SENT, "at": _AT}
            rows[tables.batches].append({**own, "id": batch, "category": category, "label": ""})
            rows[tables.weighings].append({**own, **_weighing(batch)})
            rows[tables.items] += [
                {**own, **_item(batch, category)} for _ in range(size // len(_CATEGORIES))
            ]
    with services.log._database.engine.begin() as connection:
        for table, values in rows.items():
            connection.execute(table.insert(), values)
    return ids


def _figures(services: Services, size: int, small: str, large: str) -> list[Figure]:
    confirm = p95(wall_seconds(lambda: _confirm(services, small), 100))
    confirm_large = p95(wall_seconds(lambda: _confirm(services, large), 40))
    app = create_app(services.settings, services=services)
    with TestClient(app, base_url="http://localhost") as client:
        pages = {
            name: _page(client, path)
            for name, path in {
                "piles": f"/sorts/{small}/piles",
                "report": f"/sorts/{small}/report",
                "list": "/",
                "large piles": f"/sorts/{large}/piles",
                "large report": f"/sorts/{large}/report",
            }.items()
        }
    sorts = size // ITEMS_A_SORT
    head = f"store of {size:,} items in {sorts:,} sorts"
    return [
        Figure(
            f"{head}: confirm, p95",
            f"{1000 * confirm:.1f} ms in a sort of 200 items, {1000 * confirm_large:.1f} ms in one "
            "of 2,000",
            "under 20 ms",
            confirm < 0.020,
        ),
        Figure(
            f"{head}: piles page",
            f"{1000 * pages['piles']:.0f} ms; {1000 * pages['large piles']:.0f} ms with 2,000",
            "under 100 ms",
            pages["piles"] < 0.1,
        ),
        Figure(
            f"{head}: report page",
            f"{1000 * pages['report']:.0f} ms; {1000 * pages['large report']:.0f} ms with 2,000",
            "under 1 s",
            pages["report"] < 1,
        ),
        Figure(f"{head}: list of sorts, a sheet of 50", f"{1000 * pages['list']:.0f} ms"),
    ]


def _page(client: TestClient, path: str) -> float:
    client.get(path).raise_for_status()  # templates are compiled once
    taken = wall_seconds(lambda: client.get(path).raise_for_status(), 9)
    return taken[len(taken) // 2]


def _confirm(services: Services, sort_id: str) -> None:
    items.confirm(
        services, item_id=str(uuid.uuid4()), sort_id=sort_id, category=_CATEGORIES[3], sorter="Ada"
    )


@contextmanager
def _services(folder: Path) -> Iterator[Services]:
    built = build_services(Settings(data_dir=folder), model=LoadedModel(None, None, ""))
    try:
        yield replace(built, clock=lambda: datetime.now(UTC))
    finally:
        built.learning.close()
        built.inference.shutdown()
        built.close()


def _sort(sort_id: str, count: int) -> dict[str, Any]:
    return {
        "id": sort_id,
        "fingerprint": _SENT,
        "name": f"Bag {count}",
        "place": "Street",
        "stratum": "household",
        "sorted_on": date(2026, 5, 1),
        "days": 7,
        "persons": 2,
        "programme_id": "alder_valley",
        "programme_version": "2026.1",
        "sorters": ["Ada"],
        "keeps_photos": False,
        "at": _AT,
    }


def _item(batch: str, category: str) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()),
        "batch_id": batch,
        "category": category,
        "count": 1,
        "facts": {},
        "route": "kerbside",
        "sorter": "Ada",
        "note": "",
        "categories_version": "1",
        "programme_version": "2026.1",
    }


def _weighing(batch: str) -> dict[str, Any]:
    return {
        "id": str(uuid.uuid4()),
        "batch_id": batch,
        "method": "container",
        "gross": Decimal("1.25"),
        "tare": Decimal("0.25"),
        "unit": "kg",
        "resolution": Decimal("0.01"),
        "contents_left": False,
        "note": "",
        "sorter": "Ada",
    }
