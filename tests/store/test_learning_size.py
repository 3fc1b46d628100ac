"""A study of 5,000 confirmed photos is read within what a sorter may wait for."""

from __future__ import annotations

import time

import numpy as np
import pytest

from classifier.domain.records import SortInfo
from service.store.tables import captures, embeddings, items
from service.usecases.services import Services
from tests.fakes import FORM_CATEGORIES, new_id
from tests.store.entries import enter, take

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
