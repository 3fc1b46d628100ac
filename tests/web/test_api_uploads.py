"""Photos over HTTP: sizes are limited while reading, forms are checked, bad files are named."""

from __future__ import annotations

import asyncio
import io
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from classifier.log.records import SortInfo
from service.app import create_app
from service.services import Services
from service.settings import Settings
from tests.fakes import jpeg, new_id


@pytest.fixture
def small(settings: Settings, services: Services) -> Iterator[TestClient]:
    """Return a client of an app that takes little."""
    little = settings.model_copy(
        update={"max_upload_bytes": 20_000, "max_json_bytes": 2_000, "max_pixels": 1_000_000}
    )
    with TestClient(create_app(little, services=services), base_url="http://localhost") as made:
        yield made


def _send(client: TestClient, sort_id: str, photo: bytes, **form: str) -> Any:
    return client.post(
        f"/api/sorts/{sort_id}/captures",
        data={"capture_id": new_id(), **form},
        files={"photo": ("IMG_1.jpg", photo, "image/jpeg")},
    )


def _code(response: Any) -> tuple[int, str]:
    return response.status_code, response.json()["error"]["code"]


def test_a_photo_over_the_limit(small: TestClient, sort: SortInfo, services: Services) -> None:
    """By its declared length, before a byte of it is parsed."""
    response = _send(small, sort.id, b"x" * 100_000)
    assert _code(response) == (413, "photo_too_large")
    assert "lower resolution" in response.json()["error"]["message"]
    assert list(services.photos.names()) == []


def test_a_photo_over_the_limit_without_a_length(small: TestClient, sort: SortInfo) -> None:
    """Sent in pieces: counted while it streams in."""

    def pieces() -> Iterator[bytes]:
        yield b'--b\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
        for _ in range(100):
            yield b"x" * 1_000
        yield b"\r\n--b--\r\n"

    response = small.post(
        f"/api/sorts/{sort.id}/captures",
        content=pieces(),
        headers={"content-type": "multipart/form-data; boundary=b"},
    )
    assert _code(response) == (413, "photo_too_large")


def test_reading_stops_at_the_limit(settings: Settings, services: Services) -> None:
    """An endless body is neither kept nor read for ever."""
    little = settings.model_copy(update={"max_upload_bytes": 20_000})
    app = create_app(little, services=services)
    head = b'--b\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
    read = 0
    sent: list[dict[str, Any]] = []

    async def receive() -> dict[str, Any]:
        nonlocal read
        piece = b"x" * 10_000 if read else head
        read += len(piece)
        return {"type": "http.request", "body": piece, "more_body": True}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": f"/api/sorts/{new_id()}/captures",
        "raw_path": b"/",
        "query_string": b"",
        "headers": [
            (b"host", b"localhost"),
            (b"content-type", b"multipart/form-data; boundary=b"),
        ],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 80),
    }
    asyncio.run(app(scope, receive, send))  # type: ignore[arg-type]
    assert sent[0]["status"] == 413
    assert read <= 8 * (20_000 + 64_000) + 20_000


def test_a_large_body_elsewhere(small: TestClient) -> None:
    """JSON has its own, lower limit."""
    response = small.post("/api/sorts", json={"name": "n" * 5_000})
    assert _code(response) == (413, "request_too_large")


def test_a_photo_just_within_the_limit(small: TestClient, sort: SortInfo) -> None:
    """The form around it does not count."""
    photo = jpeg() + b"\0" * (20_000 - len(jpeg()))
    assert _send(small, sort.id, photo).status_code == 201


@pytest.mark.parametrize(
    ("form", "files", "said"),
    [
        ({}, {"photo": ("a.jpg", jpeg())}, "capture_id"),
        ({"capture_id": new_id()}, {"picture": ("a.jpg", jpeg())}, "photo"),
        ({"capture_id": new_id(), "photo": "text"}, {"x": ("a", b"")}, "photo"),
        ({"capture_id": "../../x"}, {"photo": ("a.jpg", jpeg())}, "no UUID"),
        ({"capture_id": ""}, {"photo": ("a.jpg", jpeg())}, "no UUID"),
        ({"capture_id": "7f0c2d0e2f7b4c589a510d6f6f9b7c11"}, {"photo": ("a", jpeg())}, "no UUID"),
    ],
)
def test_a_form_that_lacks_something(
    client: TestClient, sort: SortInfo, form: dict[str, str], files: Any, said: str
) -> None:
    """Told what the form needs."""
    response = client.post(f"/api/sorts/{sort.id}/captures", data=form, files=files)
    assert _code(response) == (422, "invalid_entry")
    assert said in response.json()["error"]["message"]


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"{}", "application/json"),
        (b"", "multipart/form-data"),
        (b"nonsense", "multipart/form-data; boundary=b"),
        (b"--b\r\nbroken", "multipart/form-data; boundary=b"),
        (b"", "multipart/form-data; boundary=b"),
    ],
)
def test_a_body_that_is_no_form(
    client: TestClient, sort: SortInfo, content: bytes, kind: str
) -> None:
    """Neither a crash nor a capture."""
    response = client.post(
        f"/api/sorts/{sort.id}/captures", content=content, headers={"content-type": kind}
    )
    assert _code(response) == (422, "invalid_entry")


def test_two_photos_in_one_form(client: TestClient, sort: SortInfo) -> None:
    """One id, one photo."""
    response = client.post(
        f"/api/sorts/{sort.id}/captures",
        data={"capture_id": new_id()},
        files=[("photo", ("a.jpg", jpeg())), ("photo", ("b.jpg", jpeg(50)))],
    )
    assert _code(response) == (422, "invalid_entry")


def _png(size: tuple[int, int]) -> bytes:
    out = io.BytesIO()
    Image.new("1", size).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("photo", "status", "code"),
    [
        (b"", 422, "unreadable_photo"),
        (b"a text file called .jpg", 422, "unreadable_photo"),
        (jpeg()[:200], 422, "unreadable_photo"),
        (b"\x00\x00\x00\x20ftypisom" + b"\0" * 500, 422, "unreadable_photo"),
        (_png((20_000, 10_000)), 413, "photo_too_large"),
    ],
)
def test_a_file_that_is_no_photo(
    client: TestClient, sort: SortInfo, services: Services, photo: bytes, status: int, code: str
) -> None:
    """Each is refused by name, keeps nothing, and the same id then takes a good photo."""
    capture_id = new_id()
    response = _send(client, sort.id, photo, capture_id=capture_id)
    assert _code(response) == (status, code)
    assert list(services.photos.names()) == []
    assert _send(client, sort.id, jpeg(), capture_id=capture_id).status_code == 201


def test_the_name_of_the_file_means_nothing(
    client: TestClient, sort: SortInfo, services: Services
) -> None:
    """No path from a client reaches the file system."""
    response = client.post(
        f"/api/sorts/{sort.id}/captures",
        data={"capture_id": new_id()},
        files={"photo": ("../../../evil.jpg", jpeg(), "image/jpeg")},
    )
    assert response.status_code == 201
    (name,) = services.photos.names()
    assert "evil" not in name
    assert list(services.settings.data_dir.parent.rglob("*evil*")) == []


def test_a_photo_resent_after_a_lost_answer(client: TestClient, sort: SortInfo) -> None:
    """Same id, same photo: same answer; another photo: refused."""
    capture_id = new_id()
    first = _send(client, sort.id, jpeg(), capture_id=capture_id)
    assert _send(client, sort.id, jpeg(), capture_id=capture_id).json() == first.json()
    other = _send(client, sort.id, jpeg(9), capture_id=capture_id)
    assert _code(other) == (409, "conflict")
