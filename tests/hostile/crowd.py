"""A crowd of strangers on this machine's loopback, bounded in number and time.

Addresses 127.0.0.2 and on stand for other machines, which Linux lets anybody use; 127.0.0.1 is the
laptop, which asks for its health all the while.
"""

from __future__ import annotations

import http.client
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from service.settings import Settings
from service.web import access
from service.web.connections import MOST_OF_OTHERS
from service.wiring import build_services
from tests.hostile.server import Server, running

MOST = 1_100
HOLD_S = 20.0
PROBE_S = 10.0
MOST_LOG_BYTES = 100_000
STRANGER = "10.0.0.5"
"""The name that strangers ask for: an address of the laptop on its network."""
HOSTS = [f"127.0.0.{number}" for number in range(2, 12)]
FILES = 1_024
"""File descriptors that Linux gives a program by default."""
CODE = f"""
import resource
resource.setrlimit(resource.RLIMIT_NOFILE, ({FILES}, 4 * {FILES}))
from service.cli import serve
from service.web import connections
listen = serve._listening
serve._listening = lambda host, port: listen("127.0.0.1", port)  # the network stays outside
connections.is_own = lambda address: address == "127.0.0.1"
from service.cli.main import main
main()
"""


@dataclass(frozen=True)
class Crowd:
    """What a crowd did: connections it tried and held, and how the laptop fared meanwhile."""

    what: str
    tried: int
    held: int
    answers: int
    silence_s: float
    peak_mb: float
    log_bytes: int
    note: str = ""

    @property
    def faults(self) -> list[str]:
        """Return what must not happen: the laptop waits, or the disk fills."""
        found = []
        if not self.answers or self.silence_s >= PROBE_S:
            found.append(f"{self.what}: the laptop had no answer for {self.silence_s:.0f} s")
        if self.log_bytes > MOST_LOG_BYTES:
            found.append(f"{self.what}: {self.log_bytes:,} bytes of log")
        if self.held > MOST_OF_OTHERS:
            found.append(f"{self.what}: {self.held} connections held")
        return found


class _Laptop:
    """Asks for the health again and again; keeps the longest time without an answer."""

    def __init__(self, server: Server) -> None:
        self._server = server
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self.answers = 0
        self.silence_s = 0.0

    def __enter__(self) -> _Laptop:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()

    def _run(self) -> None:
        last = time.monotonic()
        while not self._end.wait(0.1):
            answered = self._ask()
            now = time.monotonic()
            self.silence_s = max(self.silence_s, now - last)
            if answered:
                self.answers, last = self.answers + 1, now

    def _ask(self) -> bool:
        laptop = http.client.HTTPConnection("127.0.0.1", self._server.port, timeout=PROBE_S)
        try:
            laptop.request("GET", "/api/health")
            return laptop.getresponse().status == 200
        except (OSError, http.client.HTTPException):
            return False
        finally:
            laptop.close()


def crowds(folder: Path, *, most: int = MOST, hold_s: float = HOLD_S) -> Iterator[Crowd]:
    """Give what each crowd did; every one meets a server of its own."""
    for what, crowd in (
        ("ask for pages and read none", _never_read),
        ("begin a form and say no more", _begin_a_form),
        ("a megabyte of form each, 20 at once", _large_forms),
        ("wrong codes from a hundred addresses", _wrong_codes),
    ):
        data_dir = folder / what.replace(" ", "_") / "data"
        with running(data_dir, code=CODE, env={"TALLYTARE_HOST": "0.0.0.0"}) as server:
            yield _measured(what, server, crowd, most, hold_s)


_Work = Callable[[Server, int, float], "tuple[int, int, str]"]


def _measured(what: str, server: Server, crowd: _Work, most: int, hold_s: float) -> Crowd:
    with _Laptop(server) as laptop:
        tried, held, note = crowd(server, most, hold_s)
    size = server.log.stat().st_size
    peak = server.peak_mb()
    return Crowd(what, tried, held, laptop.answers, laptop.silence_s, peak, size, note)


def _never_read(server: Server, most: int, hold_s: float) -> tuple[int, int, str]:
    page = f"GET /join HTTP/1.1\r\nHost: {STRANGER}\r\n\r\n".encode()
    with _opened(server, most, page * 60) as clients:
        time.sleep(hold_s)
        return most, _open_now(clients), f"still open after {hold_s:.0f} s"


def _begin_a_form(server: Server, most: int, hold_s: float) -> tuple[int, int, str]:
    head = f"POST /join HTTP/1.1\r\nHost: {STRANGER}\r\nContent-Length: 900\r\n"
    kind = "Content-Type: application/x-www-form-urlencoded\r\n\r\ncode="
    with _opened(server, most // 4, (head + kind).encode()) as clients:
        time.sleep(hold_s)
        return most // 4, _open_now(clients), f"still open after {hold_s:.0f} s"


def _large_forms(server: Server, _most: int, _hold_s: float) -> tuple[int, int, str]:
    body = b"a=&" * 330_000
    threads = [
        threading.Thread(target=_post, args=(server, HOSTS[n % len(HOSTS)], body))
        for n in range(20)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    time.sleep(1.0)
    return len(threads), 0, f"{len(body):,} bytes each"


def _wrong_codes(server: Server, _most: int, _hold_s: float) -> tuple[int, int, str]:
    services = build_services(Settings(data_dir=server.data_dir))
    code = access.make_join_code(services, role="sorter").code
    services.close()
    for number in range(1, 101):
        _post(server, f"127.0.1.{number}", b"code=AAAA-AAAA-AAAA&name=Eve")
    status = _post(server, "127.0.2.1", f"code={code}&name=Ada".encode())
    return 100, 0, f"the right code from another address was answered with {status}"


def _post(server: Server, source: str, body: bytes) -> int:
    """Post a form to where one joins and return the status, 0 where none came."""
    client = http.client.HTTPConnection(
        "127.0.0.1", server.port, timeout=60.0, source_address=(source, 0)
    )
    kind = {"host": STRANGER, "content-type": "application/x-www-form-urlencoded"}
    try:
        client.request("POST", "/join", body, kind)
        return client.getresponse().status
    except (OSError, http.client.HTTPException):
        return 0
    finally:
        client.close()


@contextmanager
def _opened(server: Server, count: int, said: bytes) -> Iterator[list[socket.socket]]:
    """Open connections from ten addresses and say the same on each."""
    clients: list[socket.socket] = []
    try:
        for number in range(count):
            client = socket.socket()
            client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
            client.settimeout(2.0)
            clients.append(client)
            with suppress(OSError):
                client.bind((HOSTS[number % len(HOSTS)], 0))
                client.connect(("127.0.0.1", server.port))
                client.setblocking(False)
                client.send(said)
        yield clients
    finally:
        for client in clients:
            client.close()


def _open_now(clients: list[socket.socket]) -> int:
    """Count the connections that the server has not closed, whatever waits to be read."""
    return sum(_is_open(client) for client in clients)


def _is_open(client: socket.socket) -> bool:
    try:
        client.getpeername()
        while client.recv(1 << 20):
            pass
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False
