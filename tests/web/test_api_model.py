"""The app with a real bundle, and with one that is missing or damaged."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

from service.app import create_app
from service.settings import Settings
from tests.fakes import new_id
from tests.tiny_bundle import photo_of, write_tiny_bundle


@contextmanager
def _client(settings: Settings, bundle: Path | str) -> Iterator[TestClient]:
    app = create_app(settings.model_copy(update={"bundle": str(bundle)}))
    with TestClient(app, base_url="http://localhost") as client:
        yield client


def _start(client: TestClient) -> str:
    sort = {
        "sort_id": new_id(),
        "name": "Kitchen bag",
        "sorted_on": "2026-05-01",
        "days": 7,
        "persons": 2,
        "programme_id": "alder_valley",
    }
    return str(client.post("/api/sorts", json=sort).json()["id"])


def _photo(client: TestClient, sort_id: str) -> dict[str, Any]:
    response = client.post(
        f"/api/sorts/{sort_id}/captures",
        data={"capture_id": new_id()},
        files={"photo": ("a.jpg", photo_of("corrugated_cardboard"))},
    )
    assert response.status_code == 201, response.text
    found: dict[str, Any] = response.json()
    return found


def test_a_real_bundle_looks_at_a_real_photo(settings: Settings, tmp_path: Path) -> None:
    """From the bytes of a JPEG to a route, with nothing faked."""
    bundle = write_tiny_bundle(tmp_path / "tiny")
    with _client(settings, bundle) as client:
        assert client.get("/api/health").json()["ok"]
        photo = _photo(client, _start(client))
    assert photo["suggestion"]["forms"][0]["id"] == "corrugated_cardboard"
    assert photo["suggestion"]["route"]["id"] == "kerbside"
    assert photo["notice"] == ""


def test_a_missing_bundle(settings: Settings) -> None:
    """Photos are taken, items are chosen by hand, and every answer says why."""
    with _client(settings, "no-such-bundle") as client:
        health = client.get("/api/health")
        assert health.status_code == 200
        assert (health.json()["ok"], health.json()["model"]) == (False, None)
        sort_id = _start(client)
        photo = _photo(client, sort_id)
        assert photo["suggestion"]["decision"] == "unsure"
        assert "no-such-bundle" in photo["notice"]
        item = {"item_id": new_id(), "capture_id": photo["id"], "category": "food"}
        confirmed = client.post(f"/api/sorts/{sort_id}/items", json=item)
        assert confirmed.status_code == 201
        assert client.get(f"/api/sorts/{sort_id}/report").json()["models"][0]["version"] is None


def test_a_damaged_bundle(settings: Settings, tmp_path: Path) -> None:
    """The same; and once it is restored, new photos have suggestions again."""
    bundle = write_tiny_bundle(tmp_path / "tiny")
    whole = (bundle / "network.onnx").read_bytes()
    (bundle / "network.onnx").write_bytes(whole[:-100])
    with _client(settings, bundle) as client:
        sort_id = _start(client)
        blind = _photo(client, sort_id)
        assert "damaged" in blind["notice"]
    (bundle / "network.onnx").write_bytes(whole)
    with _client(settings, bundle) as client:
        assert _photo(client, sort_id)["suggestion"]["decision"] == "route"
        again = client.get(f"/api/captures/{blind['id']}").json()
        assert again["suggestion"]["decision"] == "unsure"
        assert {each["id"] for each in client.get(f"/api/sorts/{sort_id}/captures").json()} >= {
            blind["id"]
        }
