"""The list of sorts, a sheet at a time."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from service.services import Services
from service.sorts import page as sorts_page
from tests.store.entries import enter, start, weigh


def test_the_list_is_shown_in_sheets(
    client: TestClient, services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sorts_page, "SORTS_A_SHEET", 2)
    first = start(services, name="Bag number one")
    enter(services, first, count=7)
    weigh(services, first)
    for name in ("two", "three"):
        start(services, name=f"Bag number {name}")
    newest, oldest = client.get("/").text, client.get("/?sheet=2").text
    assert "Bag number three" in newest
    assert "Bag number one" not in newest
    assert "Older sorts" in newest
    assert "Newer sorts" not in newest
    assert "Bag number one" in oldest
    assert ">7</td>" in oldest
    assert "1.000\u00a0kg" in oldest
    assert "Older sorts" not in oldest
    assert "Newer sorts" in oldest
    beyond = client.get("/?sheet=9")
    assert beyond.status_code == 200
    assert "No sort yet" not in beyond.text
    assert client.get("/?sheet=0").status_code == 422
