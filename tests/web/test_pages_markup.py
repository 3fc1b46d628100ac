"""Every page: labels, names, headings in order, one of each id, nothing inline, nothing remote."""

from __future__ import annotations

from collections import Counter

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from tests.fakes import new_id
from tests.web.markup import Markup, read_markup

PAGES = (
    "/",
    "/sorts/new",
    "/sorts/{sort}",
    "/sorts/{sort}/piles",
    "/sorts/{sort}/report",
    "/sorts/{sort}/details",
    "/sorts/{sort}/details?saved=true",
    "/categories",
    "/categories?programme=port_sable",
    "/categories/pet_bottles",
    "/categories/sharps",
    "/devices",
    "/join",
    "/join/ABCD-EFGH-JKMN",
    "/away",
    "/nowhere",
)


def _record(client: TestClient, sort: SortInfo) -> None:
    """Put something on every part of the pages."""
    for category, count in (("steel_cans", 3), ("foam_polystyrene", 5), ("batteries", 1)):
        sent = {"item_id": new_id(), "category": category, "count": count}
        assert client.post(f"/api/sorts/{sort.id}/items", json=sent).status_code == 201
    reading = {"method": "container", "unit": "kg", "resolution": "0.02"}
    for gross in ("1.20", "1.24"):
        sent = {"weighing_id": new_id(), "category": "steel_cans", "gross": gross, **reading}
        assert client.post(f"/api/sorts/{sort.id}/weighings", json=sent).status_code == 201
    tare = {
        "tare_id": new_id(),
        "name": "Tub",
        "weight": "0.8",
        "unit": "kg",
        "resolution": "0.02",
    }
    assert client.post("/api/tares", json=tare).status_code == 201


@pytest.fixture(params=PAGES)
def markup(request: pytest.FixtureRequest, client: TestClient, sort: SortInfo) -> Markup:
    _record(client, sort)
    address = str(request.param).format(sort=sort.id)
    answer = client.get(address, headers={"accept": "text/html"})
    assert answer.status_code == (404 if address == "/nowhere" else 200)
    return read_markup(answer.text)


def test_every_control_has_a_label(markup: Markup) -> None:
    assert markup.unlabelled() == []


def test_every_button_and_link_has_a_name(markup: Markup) -> None:
    assert markup.nameless() == []


def test_headings_start_at_one_and_skip_no_level(markup: Markup) -> None:
    assert markup.headings.count(1) == 1
    assert markup.headings[0] == 1
    for before, after in zip(markup.headings, markup.headings[1:], strict=False):
        assert after <= before + 1, markup.headings


def test_ids_stand_once(markup: Markup) -> None:
    assert [each for each, times in Counter(markup.ids).items() if times > 1] == []


def test_nothing_inline_and_nothing_from_elsewhere(markup: Markup) -> None:
    assert markup.faults == []


def test_landmarks(markup: Markup) -> None:
    assert {"main", "header", "nav", "footer"} <= markup.landmarks
