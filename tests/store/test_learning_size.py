"""Large studies: 5,000 confirmed photos within what a sorter may wait for, a thousand sorts."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy import Connection

from classifier.log.records import SortInfo
from service.services import Services
from service.sorts import studies
from service.store.rows import values
from service.store.tables import captures, embeddings, items, sorts, study_sorts
from tests.fakes import FORM_CATEGORIES, new_id
from tests.store.entries import enter, start, take

PHOTOS = 5_000
FEATURES = 1_280


def fill(services: Services, sort: SortInfo) -> None:
    """Add confirmed photos as the service would, many at once."""
    first = take(services, sort)
    enter(services, sort, capture_id=first.id)
    services.learning.settle()
    rng = np.random.default_rng(0)
    shares = rng.dirichlet(np.ones(len(FORM_CATEGORIES)), PHOTOS).tolist()
    ids = [new_id() for _ in range(PHOTOS)]
    vectors = rng.normal(size=(PHOTOS, FEATURES)).astype("<f2")
    common = {"fingerprint": "x", "sort_id": sort.id, "at": services.clock()}
    versions = {"categories_version": "1", "programme_version": "1"}
    with services.log._database.read() as connection:
        model_id = connection.scalar(captures.select().with_only_columns(captures.c.model_id))

    def work(connection: object) -> None:
        def add(table: object, rows: list[dict[str, object]]) -> None:
            connection.execute(table.insert(), rows)  # type: ignore[attr-defined]

        add(
            captures,
            [
                {
                    "id": ident,
                    "forms": [list(pair) for pair in zip(FORM_CATEGORIES, p, strict=True)],
                    "model_id": model_id,
                    "notice": "",
                    "audit": False,
                    **common,
                    **versions,
                }
                for ident, p in zip(ids, shares, strict=True)
            ],
        )
        add(
            embeddings,
            [
                {"capture_id": ident, "vector": vector.tobytes()}
                for ident, vector in zip(ids, vectors, strict=True)
            ],
        )
        add(
            items,
            [
                {
                    "id": new_id(),
                    "capture_id": ident,
                    "attempt": 0,
                    "category": "food",
                    "count": 1,
                    "facts": {},
                    "sorter": "",
                    "note": "",
                    **common,
                    **versions,
                }
                for ident in ids
            ],
        )

    services.log._database.write(work)


@pytest.mark.slow
def test_five_thousand_photos_are_read_within_the_budget(
    services: Services, sort: SortInfo
) -> None:
    """All of them within 1.5 s, what is new since a mark and the mark itself within 30 ms."""
    fill(services, sort)
    log = services.log
    began = time.process_time()
    mark, photos = log.confirmed_photos(sort.id)
    assert time.process_time() - began < 1.5
    assert len(photos) == PHOTOS + 1
    assert [photo.seq for photo in photos] == sorted(photo.seq for photo in photos)
    began = time.process_time()
    for _ in range(10):
        assert log.learning_mark(sort.id) == mark
        assert log.confirmed_photos(sort.id, since=mark) == (mark, ())
    assert (time.process_time() - began) / 20 < 0.03


def add_sorts(services: Services, like: SortInfo, study_id: str, number: int) -> None:
    """Put sorts into a study, each with an item that was entered by hand."""
    ids = [new_id() for _ in range(number)]
    common = {"fingerprint": "x", "at": services.clock()}
    item = {
        "category": "food",
        "count": 1,
        "facts": {},
        "sorter": "",
        "note": "",
        "categories_version": "1",
        "programme_version": "1",
    }

    def work(connection: Connection) -> None:
        for table, rows in (
            (
                sorts,
                [
                    {**values(sorts, replace(like, id=each), programme_version="1"), **common}
                    for each in ids
                ],
            ),
            (study_sorts, [{"study_id": study_id, "sort_id": each} for each in ids]),
            (items, [{"sort_id": each, **item} for each in ids]),
        ):
            connection.execute(table.insert(), [{"id": new_id(), **common, **row} for row in rows])

    services.log._database.write(work)


def test_a_study_of_a_thousand_sorts_learns(services: Services, sort: SortInfo) -> None:
    """More than the parts that SQLite takes in one condition; photos come in their order."""
    study = studies.create_study(services, study_id=new_id(), name="Town")
    add_sorts(services, sort, study.id, 500)
    started = [sort, *(start(services, name=f"Flat {number}") for number in range(3))]
    for each in started:
        studies.place_sort(services, sort_id=each.id, study_id=study.id, change_id=new_id())
    add_sorts(services, sort, study.id, 600)
    seen = [take(services, each, shade=shade) for shade, each in enumerate(started, 40)]
    for photo in reversed(seen):
        enter(services, services.log.get_sort(photo.sort_id), capture_id=photo.id)
    mark, photos = services.log.confirmed_photos(study.id)
    assert [photo.capture_id for photo in photos] == [photo.id for photo in seen[::-1]]
    assert services.log.confirmed_photos(study.id, since=mark) == (mark, ())
