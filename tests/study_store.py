"""A store with a whole invented study, written in bulk: for measuring, not for behaviour."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Connection, insert

from classifier.rules.categories import load_categories
from service.store.database import Database
from service.store.schema import open_database
from service.store.tables import batches, items, sorts, studies, study_sorts, weighings

AT = datetime(2026, 5, 1, 9, tzinfo=UTC)
STRATA = ("inner / spring", "inner / autumn", "outer / spring", "outer / autumn")
STUDY = str(uuid.UUID(int=7))
_AT_ONCE = 20_000


def ident(kind: int, number: int) -> str:
    return str(uuid.UUID(int=(kind << 64) + number))


def write_study(path: Path, *, n_sorts: int, n_categories: int, n_items: int) -> Database:
    """Write a study of closed-form sorts and return its open store.

    Each category of each sort is one weighed pile; items are spread over them at random, and each
    goes one of two routes.
    """
    database = open_database(f"sqlite:///{path}")
    generator = np.random.default_rng(1)
    names = [each.id for each in load_categories().categories]
    names = (names + [f"extra_{k}" for k in range(n_categories)])[:n_categories]
    grams = generator.lognormal(6, 1, (n_sorts, n_categories)).round().clip(1)
    sort_of = np.sort(generator.integers(0, n_sorts, n_items))
    category_of = generator.integers(0, n_categories, n_items)
    route_of = np.where(generator.random(n_items) < 0.5, "kerbside", "residual")
    tables: list[tuple[Any, Iterator[dict[str, Any]]]] = [
        (studies, iter([{"id": STUDY, "name": "Large", **_common()}])),
        (sorts, (_sort(number) for number in range(n_sorts))),
        (study_sorts, (_member(number) for number in range(n_sorts))),
        (batches, (_batch(s, k, names) for s in range(n_sorts) for k in range(n_categories))),
        (
            items,
            (
                _item(number, int(s), int(k), n_categories, names, str(route))
                for number, (s, k, route) in enumerate(
                    zip(sort_of, category_of, route_of, strict=True)
                )
            ),
        ),
        (
            weighings,
            (
                _weighing(s, k, n_categories, grams[s, k])
                for s in range(n_sorts)
                for k in range(n_categories)
            ),
        ),
    ]

    def work(connection: Connection) -> None:
        for table, rows in tables:
            chunk: list[dict[str, Any]] = []
            for row in rows:
                chunk.append(row)
                if len(chunk) == _AT_ONCE:
                    connection.execute(insert(table), chunk)
                    chunk = []
            if chunk:
                connection.execute(insert(table), chunk)

    database.write(work)
    return database


def _common() -> dict[str, Any]:
    return {"fingerprint": "0" * 64, "at": AT}


def _sort(number: int) -> dict[str, Any]:
    return {
        "id": ident(1, number),
        "name": f"Household {number}",
        "place": f"House {number}",
        "stratum": STRATA[number % len(STRATA)],
        "sorted_on": date(2026, 4, 1) + timedelta(days=number % 200),
        "days": 7,
        "persons": 1 + number % 4,
        "programme_id": "alder_valley",
        "programme_version": "1",
        "sorters": ["Ada"],
        "keeps_photos": False,
        **_common(),
    }


def _member(number: int) -> dict[str, Any]:
    return {
        "id": ident(2, number),
        "sort_id": ident(1, number),
        "study_id": STUDY,
        **_common(),
    }


def _batch(sort: int, category: int, names: list[str]) -> dict[str, Any]:
    return {
        "id": ident(3, sort * len(names) + category),
        "sort_id": ident(1, sort),
        "category": names[category],
        "label": "",
        **_common(),
    }


def _item(
    number: int, sort: int, category: int, n_categories: int, names: list[str], route: str
) -> dict[str, Any]:
    return {
        "id": ident(4, number),
        "sort_id": ident(1, sort),
        "capture_id": None,
        "attempt": None,
        "batch_id": ident(3, sort * n_categories + category) if number % 2 else None,
        "category": names[category],
        "count": 1 + number % 3,
        "facts": {},
        "route": route,
        "sorter": "Ada",
        "note": "",
        "suggested": names[category],
        "model_version": "household 1",
        "categories_version": "1",
        "programme_version": "1",
        **_common(),
    }


def _weighing(sort: int, category: int, n_categories: int, grams: float) -> dict[str, Any]:
    return {
        "id": ident(5, sort * n_categories + category),
        "sort_id": ident(1, sort),
        "batch_id": ident(3, sort * n_categories + category),
        "method": "container",
        "gross": Decimal(int(grams) + 340),
        "tare": Decimal(340),
        "unit": "g",
        "resolution": Decimal(1),
        "contents_left": False,
        "note": "",
        "sorter": "Ada",
        **_common(),
    }
