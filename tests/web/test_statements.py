"""What a request asks of the store: few visits, no query per item, each item worked out once."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event

from classifier.log import ledger
from classifier.log.records import Item, ItemChange, SortInfo
from service.services import Services
from service.sorting import items
from service.sorting.items import RECENT
from service.sorts import studies
from tests.fakes import jpeg, new_id
from tests.store.entries import enter, take

HTML = {"accept": "text/html"}


@contextmanager
def asked(services: Services) -> Iterator[Counter[str]]:
    """Count what requests send to the database, by first word: BEGIN is one visit to the store."""
    found: Counter[str] = Counter()

    def note(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        # What is learned in the background is no part of a request.
        if not threading.current_thread().name.startswith("learning"):
            found[statement.split()[0]] += 1

    engine = services.log._database.engine
    event.listen(engine, "before_cursor_execute", note)
    try:
        yield found
    finally:
        event.remove(engine, "before_cursor_execute", note)


@pytest.fixture
def busy(services: Services, sort: SortInfo) -> SortInfo:
    """Return a sort in a study with many items, some changed, and photos that wait."""
    study = studies.create_study(services, study_id=new_id(), name="Spring")
    studies.place_sort(services, sort_id=sort.id, study_id=study.id, change_id=new_id())
    for number in range(RECENT + 8):
        recorded = enter(services, sort, capture_id=take(services, sort).id)
        if number % 3 == 0:
            items.correct(
                services, item_id=recorded.item.id, change_id=new_id(), category="food", count=2
            )
        if number % 6 == 0:
            items.undo(services, item_id=recorded.item.id, change_id=new_id())
    for _ in range(5):
        take(services, sort)
    services.learning.settle()
    return sort


def _photo(client: TestClient, sort: SortInfo) -> str:
    answer = client.post(
        f"/api/sorts/{sort.id}/captures",
        data={"capture_id": new_id()},
        files={"photo": ("x.jpg", jpeg(), "image/jpeg")},
    )
    assert answer.status_code == 201
    return str(answer.json()["id"])


def _confirm(client: TestClient, sort: SortInfo, capture_id: str) -> None:
    sent = {"item_id": new_id(), "capture_id": capture_id, "category": "food"}
    assert client.post(f"/api/sorts/{sort.id}/items", json=sent).status_code == 201


@pytest.mark.sqlite_only
def test_a_photo_visits_the_store_four_times_at_most(
    client: TestClient, services: Services, busy: SortInfo
) -> None:
    with asked(services) as found:
        _photo(client, busy)
    assert found["BEGIN"] <= 4
    assert found["SELECT"] <= 10


@pytest.mark.sqlite_only
def test_a_confirmation_visits_the_store_three_times_at_most(
    client: TestClient, services: Services, busy: SortInfo
) -> None:
    capture_id = _photo(client, busy)
    services.learning.settle()
    with asked(services) as found:
        _confirm(client, busy, capture_id)
    assert found["BEGIN"] <= 3
    assert found["SELECT"] <= 17


@pytest.mark.sqlite_only
@pytest.mark.parametrize(("page", "visits", "queries"), [("", 2, 11), ("/report", 3, 11)])
def test_a_page_asks_no_more_for_more_items(
    client: TestClient, services: Services, busy: SortInfo, page: str, visits: int, queries: int
) -> None:
    """As few queries with many items and photos as with few."""

    def look() -> Counter[str]:
        with asked(services) as found:
            assert client.get(f"/sorts/{busy.id}{page}", headers=HTML).status_code == 200
        return found

    before = look()
    for _ in range(3):
        enter(services, busy, capture_id=take(services, busy).id)
        take(services, busy)
    after = look()
    assert after == before
    assert after["BEGIN"] <= visits
    assert after["SELECT"] <= queries


@pytest.fixture
def corrected(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Count how often each change is applied to its item."""
    found: Counter[str] = Counter()
    plain: Callable[[Item, ItemChange], Item] = ledger.changed

    def counting(item: Item, change: ItemChange) -> Item:
        found[change.id] += 1
        return plain(item, change)

    monkeypatch.setattr(ledger, "changed", counting)
    monkeypatch.setattr(items, "changed", counting)
    return found


@pytest.mark.sqlite_only
@pytest.mark.parametrize("page", ["", "/report"])
def test_a_page_works_out_each_item_once(
    client: TestClient, busy: SortInfo, page: str, corrected: Counter[str]
) -> None:
    corrected.clear()
    assert client.get(f"/sorts/{busy.id}{page}", headers=HTML).status_code == 200
    assert set(corrected.values()) == {1}


@pytest.mark.sqlite_only
def test_the_sorting_page_works_out_only_what_it_shows(
    client: TestClient, services: Services, busy: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The newest items, and those changed ones that the tally can't leave to the database."""
    seen: list[str] = []
    plain = items.history_of

    def counting(services: Services, state: Any) -> Any:
        seen.append(state.item.id)
        return plain(services, state)

    monkeypatch.setattr(items, "history_of", counting)
    assert client.get(f"/sorts/{busy.id}", headers=HTML).status_code == 200
    rows = services.log.sort_rows(busy.id)
    newest = {item.id for item in rows.items[-RECENT:]}
    changed = {change.item_id for change in rows.changes}
    assert len(seen) == len(set(seen))
    assert newest <= set(seen) <= newest | changed
    assert len(rows.items) > len(seen)
