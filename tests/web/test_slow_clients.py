"""Clients that send slowly or nothing: answered or let go, and nobody else waits for them."""

from __future__ import annotations

import asyncio
import json
import socket
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx2
import pytest
import uvicorn
from starlette.types import Message

from classifier.log.records import SortInfo
from service.app import create_app
from service.services import Services
from service.settings import Settings
from service.web import body, deadlines, forms
from service.web.deadlines import DeadlineProtocol
from tests.fakes import UNKNOWN_ID, FakePredictor, jpeg, new_id

BOUND = b"multipart/form-data; boundary=b"


def _scope(path: str, kind: bytes = BOUND) -> dict[str, Any]:
    return {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [(b"host", b"localhost"), (b"content-type", kind)],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 80),
    }


def _post(
    app: Any, scope: dict[str, Any], pieces: list[bytes], pause_s: float, *, ends: bool = False
) -> Any:
    """Send pieces with a pause before each; after the last, silence, or the end of the body."""
    sent: list[Message] = []
    waiting = list(pieces)

    async def receive() -> Message:
        await asyncio.sleep(pause_s if waiting else 60)
        piece = waiting.pop(0)
        return {"type": "http.request", "body": piece, "more_body": bool(waiting) or not ends}

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    return sent[0]["status"], json.loads(b"".join(each.get("body", b"") for each in sent))


@pytest.mark.parametrize("path", [f"/api/sorts/{UNKNOWN_ID}/captures", "/api/sorts", "/sorts"])
def test_a_body_that_stops_is_given_up(
    settings: Settings, services: Services, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    """After a time without a byte."""
    monkeypatch.setattr(body, "SILENCE_S", 0.1)
    kind = b"application/json" if path == "/api/sorts" else BOUND
    app = create_app(settings, services=services)
    status, answer = _post(app, _scope(path, kind), [b"--b\r\n"], 0.0)
    assert (status, answer["error"]["code"]) == (408, "request_too_slow")
    assert "send it again" in answer["error"]["message"]


def test_a_body_that_drips_is_given_up(
    settings: Settings, services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each silence is short, but the whole takes too long."""
    monkeypatch.setattr(body, "WHOLE_BODY_S", 0.3)
    app = create_app(settings, services=services)
    status, answer = _post(app, _scope("/api/sorts", b"application/json"), [b" "] * 100, 0.05)
    assert (status, answer["error"]["code"]) == (408, "request_too_slow")


@pytest.fixture
def closed_by(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return who closed connections: the time for headers, or that between two requests."""
    seen: list[str] = []
    for name in ("_give_up", "timeout_keep_alive_handler"):
        before = getattr(DeadlineProtocol, name)

        def noted(self: DeadlineProtocol, name: str = name, before: Any = before) -> None:
            seen.append(name)
            before(self)

        monkeypatch.setattr(DeadlineProtocol, name, noted)
    return seen


@pytest.mark.parametrize("path", ["/join", "/sorts", "/api/sorts"])
def test_the_body_of_a_stranger_is_given_up_early(
    settings: Settings, services: Services, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    """In silence and dripping alike, whether or not anything would read it."""
    monkeypatch.setattr(body, "STRANGER_SILENCE_S", 0.1)
    monkeypatch.setattr(body, "STRANGER_WHOLE_S", 0.3)
    app = create_app(settings.model_copy(update={"host": "0.0.0.0"}), services=services)
    scope = _scope(path, b"application/x-www-form-urlencoded")
    stranger = {"client": ("10.0.0.9", 1), "headers": [(b"host", b"10.0.0.5")]}
    for pieces, pause_s in (([b"code="], 0.0), ([b" "] * 200, 0.05)):
        start = time.monotonic()
        assert _statuses(app, scope | stranger, pieces, pause_s) in ([408], [401])
        assert time.monotonic() - start < body.SILENCE_S / 2


@pytest.mark.parametrize("declared", [True, False])
def test_what_anybody_may_send_is_bounded_before_it_is_read(
    settings: Settings,
    services: Services,
    monkeypatch: pytest.MonkeyPatch,
    declared: bool,
) -> None:
    """Megabytes reach no parser, also from one who has joined and from the laptop."""

    def never(*_: Any) -> None:
        raise AssertionError("a parser was given it")

    monkeypatch.setattr(forms, "parse_qsl", never)
    app = create_app(settings, services=services)
    scope = _scope("/join", b"application/x-www-form-urlencoded")
    if declared:
        scope["headers"] = [*scope["headers"], (b"content-length", b"900000")]
    assert _statuses(app, scope, [b"a=b&" * 2_000] * 100, 0.0) == [413]


def _statuses(app: Any, scope: dict[str, Any], pieces: list[bytes], pause_s: float) -> list[int]:
    sent: list[Message] = []
    waiting = list(pieces)

    async def receive() -> Message:
        await asyncio.sleep(pause_s if waiting else 60)
        return {"type": "http.request", "body": waiting.pop(0), "more_body": True}

    async def send(message: Message) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    return [each["status"] for each in sent if each["type"] == "http.response.start"]


@pytest.fixture
def port(settings: Settings, services: Services, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Return the port of a real server that waits half a second for headers."""
    monkeypatch.setattr(deadlines, "HEAD_S", 0.5)
    watch = DeadlineProtocol._watch

    def watched(self: DeadlineProtocol) -> None:
        now = self.loop.time()
        watch(self)
        assert self._waiting is not None
        assert self._waiting.when() >= now + 0.5

    monkeypatch.setattr(DeadlineProtocol, "_watch", watched)
    listener = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        create_app(settings, services=services),
        http=DeadlineProtocol,
        log_level="error",
        timeout_keep_alive=1,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    yield listener.getsockname()[1]
    server.should_exit = True
    thread.join()
    listener.close()


GET = b"GET /api/health HTTP/1.1\r\nHost: localhost\r\n"


@pytest.mark.parametrize("said", [b"", b"GET / HT", GET])
@pytest.mark.parametrize("after_another", [False, True])
def test_headers_that_never_end_are_given_up(
    port: int, closed_by: list[str], said: bytes, after_another: bool
) -> None:
    """Also those of a second request on one connection; one without any has a time of its own."""
    with socket.create_connection(("127.0.0.1", port)) as client:
        if after_another:
            client.sendall(GET + b"\r\n")
            assert client.recv(65536).startswith(b"HTTP/1.1 200")
        client.sendall(said)
        while client.recv(65536):
            pass  # until the server closes the connection
    idle = after_another and not said
    assert closed_by == ["timeout_keep_alive_handler" if idle else "_give_up"]


def test_an_answer_that_takes_long_is_waited_for(
    port: int, services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The time for headers ends with them."""
    monkeypatch.setattr(type(services.log), "ping", lambda _: time.sleep(1))
    with socket.create_connection(("127.0.0.1", port)) as client:
        client.sendall(GET + b"Connection: close\r\n\r\n")
        client.settimeout(20)
        assert client.recv(65536).startswith(b"HTTP/1.1 200")


def test_endless_headers_are_refused(port: int) -> None:
    """They would be kept in memory."""
    with socket.create_connection(("127.0.0.1", port)) as client:
        client.settimeout(20)
        client.sendall(GET + b"X: " + b"a" * 200_000)
        assert client.recv(65536).startswith(b"HTTP/1.1 400")


def test_a_heap_of_photos_holds_up_nobody_else(
    port: int, sort: SortInfo, predictor: FakePredictor
) -> None:
    """More than there are threads wait for the model; other requests are answered meanwhile."""
    go_on = threading.Event()

    def wait() -> None:
        go_on.wait(25)

    predictor.before = wait
    url = f"http://127.0.0.1:{port}"

    def send(number: int) -> int:
        return httpx2.post(
            f"{url}/api/sorts/{sort.id}/captures",
            data={"capture_id": new_id()},
            files={"photo": ("a.jpg", jpeg(number))},
            timeout=60,
        ).status_code

    with ThreadPoolExecutor(50) as phones:
        sent = [phones.submit(send, number) for number in range(50)]
        while predictor.seen < 2:
            time.sleep(0.01)
        time.sleep(0.5)
        try:
            assert httpx2.get(f"{url}/api/sorts/{sort.id}/tally", timeout=20).status_code == 200
        finally:
            go_on.set()
        assert {each.result() for each in sent} == {201}


def test_bodies_at_once_are_bounded(
    settings: Settings, services: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that would be too much is asked to come again; what was answered no longer counts."""
    monkeypatch.setattr(body, "MOST_HELD_BYTES", 10_000)
    app = create_app(settings, services=services)
    scope = _scope("/api/sorts", b"application/json")
    status, answer = _post(app, scope, [b" " * 6_000] * 2, 0.0, ends=True)
    assert (status, answer["error"]["code"]) == (503, "too_many_uploads")
    for _ in range(3):
        status, _answer = _post(app, scope, [b" " * 9_000], 0.0, ends=True)
        assert status == 422  # it was read to its end, and is no entry
