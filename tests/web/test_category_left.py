"""A sort outlives its category list: what it holds of a category that left is still shown."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from service.app import create_app
from service.services import Services
from tests.fakes import new_id
from tests.store.entries import CARDBOARD, enter, take, weigh

HTML = {"accept": "text/html"}


@pytest.fixture
def later(services: Services, sort: SortInfo) -> Iterator[TestClient]:
    """Return a client of the same store under a list that cardboard has left."""
    enter(services, sort, count=3)
    enter(services, sort, "food")
    weigh(services, sort)
    take(services, sort)
    whole = services.categories
    kept = tuple(each for each in whole.categories if each.id != CARDBOARD)
    now = replace(services, categories=replace(whole, categories=kept))
    with TestClient(
        create_app(services.settings, services=now), base_url="http://localhost"
    ) as made:
        yield made


@pytest.mark.parametrize("page", ["", "/piles", "/report", "/learning", "/details"])
def test_every_page_of_the_sort_is_there(later: TestClient, sort: SortInfo, page: str) -> None:
    answer = later.get(f"/sorts/{sort.id}{page}", headers=HTML)
    assert answer.status_code == 200
    if page in ("", "/piles", "/report"):
        assert CARDBOARD in answer.text


def test_the_tally_and_the_piles_hold_it_last(later: TestClient, sort: SortInfo) -> None:
    tally = later.get(f"/api/sorts/{sort.id}/tally").json()
    assert [(each["category"], each["count"]) for each in tally["lines"]] == [
        ("food", 1),
        (CARDBOARD, 3),
    ]
    piles = later.get(f"/api/sorts/{sort.id}/piles").json()["piles"]
    assert [each["category"] for each in piles] == ["food", CARDBOARD]
    assert piles[-1]["name"] == CARDBOARD


def test_its_item_can_be_undone(later: TestClient, sort: SortInfo) -> None:
    listed = later.get(f"/api/sorts/{sort.id}/items").json()
    first = next(each["first"] for each in listed if each["first"]["category"] == CARDBOARD)
    answer = later.post(f"/api/items/{first['id']}/undo", json={"change_id": new_id()})
    assert answer.status_code == 200
    assert answer.json()["item"]["voided"]
    assert answer.json()["route"]["id"] == first["route"]
    assert answer.json()["tally"]["objects"] == 1
