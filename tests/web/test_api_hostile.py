"""Requests that no page sends: refused in words, briefly, nothing being read into them."""

from __future__ import annotations

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from classifier.log.records import SortInfo
from tests.fakes import new_id


def new_sort() -> dict[str, Any]:
    return {
        "sort_id": new_id(),
        "name": "Kitchen bag",
        "sorted_on": "2026-05-01",
        "days": 7,
        "persons": 2,
        "programme_id": "alder_valley",
    }


@pytest.mark.parametrize("day", [0, 1_700_000_000, "0", "1700000000", "2026-05-01T00:00:00", True])
def test_a_day_is_written_out(client: TestClient, day: object) -> None:
    """Numbers are no days: the seconds since 1970 that they might mean were never meant."""
    response = client.post("/api/sorts", json={**new_sort(), "sorted_on": day})
    assert response.status_code == 422
    assert "year-month-day" in response.json()["error"]["message"]


@pytest.mark.parametrize("number", ["7", "1_000", 7.5, True, None, "7 ", 1e300])
@pytest.mark.parametrize("name", ["days", "persons"])
def test_numbers_of_things_are_whole_numbers(client: TestClient, name: str, number: object) -> None:
    """Nothing is read into them: "1_000" would be a thousand."""
    response = client.post("/api/sorts", json={**new_sort(), name: number})
    assert response.status_code == 422
    assert name in response.json()["error"]["message"]


def test_a_refusal_does_not_send_the_megabyte_back(client: TestClient, sort: SortInfo) -> None:
    """Its beginning says what was given and its end what to do."""
    weighing = {
        "weighing_id": new_id(),
        "category": "food",
        "method": "container",
        "gross": "x" * 900_000,
        "unit": "kg",
        "resolution": "0.1",
    }
    response = client.post(f"/api/sorts/{sort.id}/weighings", json=weighing)
    assert response.status_code == 422
    assert len(response.content) < 10_000
    message = response.json()["error"]["message"]
    assert message.startswith("gross 'xxx")
    assert message.endswith("write digits with one decimal mark, such as 1.25, without a unit")
    many = {**new_sort(), **{f"{n}{'k' * 1000}": 1 for n in range(900)}}
    assert len(client.post("/api/sorts", json=many).content) < 200_000


@pytest.mark.parametrize("name", ["\x7f", "a\x9bm", "\u200b", "\u2060\ufeff", "\ud800"])
def test_a_name_that_shows_nothing(client: TestClient, name: str) -> None:
    """Terminals obey some characters; others leave a link without words."""
    body = json.dumps({**new_sort(), "name": name})
    response = client.post("/api/sorts", content=body, headers={"content-type": "application/json"})
    assert (response.status_code, response.json()["error"]["code"]) == (422, "invalid_entry")
