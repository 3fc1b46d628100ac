"""The owner's page and interface for the choice of the model."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from service.app import create_app
from service.settings import Settings
from service.wiring import build_services
from tests.fakes import new_id
from tests.tiny_bundle import write_tiny_bundle


@pytest.fixture
def owner(settings: Settings, tmp_path: Path) -> Iterator[TestClient]:
    """Return a client of a service with a real model."""
    used = settings.model_copy(update={"bundle": str(write_tiny_bundle(tmp_path / "tiny"))})
    app = create_app(used, services=build_services(used))
    with TestClient(app, base_url="http://localhost") as made:
        yield made


def test_promote_and_roll_back_by_interface(owner: TestClient) -> None:
    before = owner.get("/api/bundles").json()
    assert (before["answering"], before["promoted"], before["previous"]) == ("tiny 0.1.0", "", None)
    assert "household" in [each["name"] for each in before["bundles"] if each["shipped"]]
    body = {"promotion_id": new_id(), "bundle": "household"}
    for _ in range(2):  # a resend changes nothing
        answer = owner.post("/api/bundles/promote", json=body)
        assert answer.status_code == 201
        assert answer.json()["answering"].startswith("household ")
        assert len(answer.json()["history"]) == 1
    assert owner.get("/api/health").json()["model"].startswith("household ")
    back = owner.post("/api/bundles/rollback", json={"promotion_id": new_id()})
    assert back.json()["answering"] == "tiny 0.1.0"


def test_refusals(owner: TestClient, tmp_path: Path) -> None:
    elsewhere = str(write_tiny_bundle(tmp_path / "elsewhere", version="3"))
    answer = owner.post(
        "/api/bundles/promote", json={"promotion_id": new_id(), "bundle": elsewhere}
    )
    assert answer.status_code == 404
    assert "there is no bundle" in answer.json()["error"]["message"]
    nothing = owner.post("/api/bundles/rollback", json={"promotion_id": new_id()})
    assert nothing.status_code == 409


def test_the_page(owner: TestClient) -> None:
    shown = owner.get("/bundles").text
    assert "tiny 0.1.0" in shown
    assert "Go back" not in shown
    form = {"promotion_id": new_id(), "bundle": "household"}
    after = owner.post("/bundles/promote", data=form)
    assert after.status_code == 200
    assert "<button>Go back to" in after.text
    refused = owner.post("/bundles/promote", data={"promotion_id": new_id(), "bundle": "x"})
    assert refused.status_code == 404
    assert "Nothing was changed" in refused.text
    assert "Go back" not in owner.post("/bundles/rollback", data={"promotion_id": new_id()}).text
