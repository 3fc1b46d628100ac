"""Strangers with many connections: bounded, and the laptop and everybody else still get in."""

from __future__ import annotations

import contextlib
import errno
import http.client
import logging
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest

from service.app import create_app
from service.cli.listening import ListeningServer, _tell_once
from service.services import Services
from service.settings import Settings
from service.web import connections, deadlines
from service.web.connections import Connections

STRANGERS = ("127.0.0.2", "127.0.0.3", "127.0.0.4")
"""All of 127.0.0.0/8 is this machine; for these tests only 127.0.0.1 is the laptop."""
PAGE = b"GET /static/base.css HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"


@pytest.fixture
def port(settings: Settings, services: Services, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """Return the port of a real server on the network, with small limits."""
    monkeypatch.setattr(connections, "is_own", lambda address: address == "127.0.0.1")
    monkeypatch.setattr(connections, "MOST_OF_ONE_ADDRESS", 4)
    monkeypatch.setattr(connections, "MOST_OF_OTHERS", 10)
    monkeypatch.setattr(deadlines, "READ_S", 1.5)
    settings = settings.model_copy(update={"host": "0.0.0.0"})
    listener = socket.create_server(("127.0.0.1", 0))
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 8_192)
    number: int = listener.getsockname()[1]
    server = ListeningServer(create_app(settings, services=services), local=None, beyond=listener)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        thread.join(0.02)
    yield number
    server.should_exit = True
    thread.join()


def _open(port: int, address: str) -> socket.socket | None:
    """Return a connection from an address that is kept open, None where it was closed."""
    client = socket.create_connection(("127.0.0.1", port), timeout=10, source_address=(address, 0))
    client.settimeout(1.0)
    try:
        client.recv(1)
    except TimeoutError:
        return client  # it waits for a request
    except ConnectionError:
        pass
    client.close()
    return None


def test_connections_are_bounded_by_address_and_in_all(port: int) -> None:
    """Of twelve an address four stay; of all strangers ten; and this machine always gets in."""
    with contextlib.ExitStack() as held:
        stayed = []
        for address in STRANGERS:
            opened = [_open(port, address) for _ in range(12)]
            stayed.append(sum(each is not None for each in opened))
            for each in opened:
                if each is not None:
                    held.enter_context(each)
        assert stayed == [4, 4, 2]
        laptop = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        laptop.request("GET", "/api/health")
        assert laptop.getresponse().status == 200
        laptop.close()
    end = time.monotonic() + 10
    while (again := _open(port, STRANGERS[0])) is None and time.monotonic() < end:
        time.sleep(0.05)
    assert again is not None, "what was closed counts no longer"
    again.close()


def test_who_never_reads_is_let_go(port: int) -> None:
    """A thousand pages are asked for and none is read: the connection ends by itself."""
    with socket.create_connection(("127.0.0.1", port), timeout=120) as client:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 16_384)
        with contextlib.suppress(ConnectionError):
            while client.send(PAGE * 100):  # until the server has closed it
                pass


def test_who_reads_slowly_gets_all(port: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """As long as something is read within each span of time."""
    monkeypatch.setattr(deadlines, "LEAST_READ_BYTES", 1)
    with socket.create_connection(("127.0.0.1", port), timeout=120) as client:
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 16_384)
        client.sendall(PAGE * 9 + PAGE.replace(b"\r\n\r\n", b"\r\nConnection: close\r\n\r\n"))
        whole = b""
        while piece := client.recv(30_000):
            whole += piece
            time.sleep(0.02)
    assert whole.count(b"HTTP/1.1 200 OK") == 10


def test_a_stranger_gets_one_answer_a_connection(port: int) -> None:
    """However many requests were sent in one go; the laptop's connection goes on."""
    for host, answers in (("10.0.0.5", 1), ("127.0.0.1", 3)):
        with socket.create_connection(("127.0.0.1", port), timeout=60) as client:
            ask = f"GET /away HTTP/1.1\r\nHost: {host}\r\n".encode()
            client.sendall((ask + b"\r\n") * 2 + ask + b"Connection: close\r\n\r\n")
            whole = b""
            with contextlib.suppress(ConnectionError):
                while piece := client.recv(65_536):
                    whole += piece
        assert whole.count(b"HTTP/1.1 200 OK") == answers


def test_addresses_are_counted_whichever_way_they_are_written() -> None:
    """An IPv4 address is one also where IPv6 is listened to; a zone is no other address."""
    assert connections.plain_address("::ffff:192.168.1.7") == "192.168.1.7"
    assert connections.plain_address("fe80::1%eth0") == "fe80::1"
    assert connections.plain_address("x" * 100) == "x" * 64


def test_the_laptop_has_places_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    """However many others there are; and a program on it can't take those of others."""
    monkeypatch.setattr(connections, "MOST_OF_LAPTOP", 3)
    counted = Connections()
    others = [counted.enter(f"10.0.{n // 8}.{n % 8}") for n in range(500)]
    assert sum(others) == connections.MOST_OF_OTHERS
    assert [counted.enter("127.0.0.1") for _ in range(4)] == [True, True, True, False]
    counted.leave("127.0.0.1")
    assert counted.enter("::1")


def test_an_error_of_each_connection_is_logged_once(caplog: pytest.LogCaptureFixture) -> None:
    """Two thousand a second would fill the disk; any other error is logged as ever."""
    handle = _tell_once()
    seen: list[Any] = []

    class Loop:
        def default_exception_handler(self, context: dict[str, Any]) -> None:
            seen.append(context)

    with caplog.at_level(logging.ERROR):
        for _ in range(2_000):
            handle(Loop(), {"exception": OSError(errno.EMFILE, "Too many open files")})  # type: ignore[arg-type]
    assert [each.message.count("Too many open files") for each in caplog.records] == [1]
    handle(Loop(), {"exception": ValueError("x")})  # type: ignore[arg-type]
    assert len(seen) == 1
