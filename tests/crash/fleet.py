"""Server processes on one store: started, killed with -9, started again."""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from service.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
_START_S = 60.0


class Fleet:
    """Some servers on one store, each with a port that it keeps; all are killed at the end."""

    def __init__(self, settings: Settings, *, servers: int) -> None:
        self.settings = settings
        self.ports = [_free_port() for _ in range(servers)]
        self.clock = settings.data_dir.parent / "clock"
        self.kills = 0
        self._pids: dict[int, int] = {}
        self._said = (settings.data_dir.parent / "servers.log").open("ab")
        self._nursery = subprocess.Popen(
            [
                *(sys.executable, "-m", "tests.crash.server", str(settings.data_dir)),
                *(str(self.clock), settings.database_url),
            ],
            cwd=ROOT,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._said,
        )

    def __enter__(self) -> Fleet:
        """Start all servers and wait for them."""
        for port in self.ports:
            self.start(port)
        for port in self.ports:
            self.wait_for(port)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Kill what runs."""
        for port in self.ports:
            self._end(port)
        self._nursery.kill()
        self._nursery.communicate()
        self._said.close()

    def start(self, port: int) -> None:
        """Start a server; it listens some moments later."""
        assert self._nursery.stdin is not None
        assert self._nursery.stdout is not None
        self._nursery.stdin.write(f"{port}\n".encode("ascii"))
        self._nursery.stdin.flush()
        self._pids[port] = int(self._nursery.stdout.readline())

    def wait_for(self, port: int) -> None:
        """Wait until a server listens."""
        deadline = time.monotonic() + _START_S
        while time.monotonic() < deadline:
            with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                return
            if not self._lives(port):
                self.start(port)  # it found the disk full, or the database away
            time.sleep(0.05)
        raise TimeoutError(f"no server on port {port}: see {self._said.name}")

    def listening(self) -> list[int]:
        """Return the ports that take a connection."""
        found = []
        for port in self.ports:
            with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                found.append(port)
        return found

    def kill(self, ports: list[int]) -> None:
        """Kill servers in the middle of whatever they do, all at once, and start them again."""
        for port in ports:
            self._signal(port)
        self.kills += len(ports)
        for port in ports:
            self._end(port)
            self.start(port)

    def revive(self) -> None:
        """Start those that ended by themselves, because the database was away."""
        for port in self.ports:
            if not self._lives(port):
                self.start(port)

    def step_clock(self, chance: random.Random) -> None:
        """Let the clock of all servers jump by up to three days, mostly back."""
        self.clock.write_text(str(chance.uniform(-3 * 86_400, 86_400)), encoding="ascii")

    def _end(self, port: int) -> None:
        self._signal(port)
        while self._lives(port):
            time.sleep(0.002)

    def _signal(self, port: int) -> None:
        with suppress(ProcessLookupError):
            os.kill(self._pids[port], signal.SIGKILL)

    def _lives(self, port: int) -> bool:
        try:
            os.kill(self._pids[port], 0)
        except ProcessLookupError:
            return False
        return True


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])
