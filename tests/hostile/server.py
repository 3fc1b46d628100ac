"""`tallytare serve` in a process of its own, with its memory watched."""

from __future__ import annotations

import json
import os
import re
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

START_S = 90.0
FORM = "application/x-www-form-urlencoded"
MAIN = "from service.cli.main import main; main()"


@dataclass(frozen=True)
class Server:
    """A running server."""

    process: subprocess.Popen[bytes]
    port: int
    data_dir: Path
    log: Path
    secure: bool = False

    @property
    def address(self) -> str:
        """Where it answers."""
        return f"{'https' if self.secure else 'http'}://127.0.0.1:{self.port}"

    def ask(self, path: str, data: bytes | None = None, kind: str = FORM) -> bytes:
        """Return what it answers; with data, to a POST."""
        request = urllib.request.Request(self.address + path, data, {"content-type": kind})
        context = ssl._create_unverified_context() if self.secure else None
        with urllib.request.urlopen(request, timeout=60, context=context) as answer:
            return bytes(answer.read())

    def send(self, path: str, body: object) -> bytes:
        """Return what it answers to JSON."""
        return self.ask(path, json.dumps(body).encode(), "application/json")

    def alive(self) -> bool:
        """Whether the process still runs."""
        return self.process.poll() is None

    def peak_mb(self) -> float:
        """Return the most memory that was resident, in MB; 0 where the system does not tell."""
        return self._memory("VmHWM")

    def now_mb(self) -> float:
        """Return the memory that is resident, in MB."""
        return self._memory("VmRSS")

    def worked_s(self) -> float:
        """Return the processor time that the server has used, in seconds; 0 where nobody says."""
        try:
            text = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="ascii")
        except OSError:
            return 0.0
        fields = text.rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def _memory(self, name: str) -> float:
        try:
            text = Path(f"/proc/{self.process.pid}/status").read_text(encoding="ascii")
        except OSError:
            return 0.0
        found = re.search(rf"^{name}:\s+(\d+) kB", text, flags=re.MULTILINE)
        return int(found[1]) * 1024 / 1e6 if found else 0.0


@contextmanager
def running(
    data_dir: Path,
    *,
    bundle: str = "",
    arguments: tuple[str, ...] = (),
    code: str = MAIN,
    env: Mapping[str, str] | None = None,
    secure: bool = False,
) -> Iterator[Server]:
    """Give a server on a store of its own and stop it afterwards."""
    port = _free_port()
    data_dir.mkdir(parents=True, exist_ok=True)
    settings = {**os.environ, **(env or {})} | {
        "TALLYTARE_DATA_DIR": str(data_dir),
        "TALLYTARE_PORT": str(port),
        "TALLYTARE_BUNDLE": bundle,
    }
    log = data_dir.parent / "server.log"
    with log.open("wb") as out:
        process = subprocess.Popen(
            [sys.executable, "-c", code, "serve", *arguments],
            env=settings,
            stdout=out,
            stderr=out,
            cwd=Path(__file__).parents[2],
        )
    server = Server(process, port, data_dir, log, secure)
    try:
        _wait(server)
        yield server
    finally:
        process.terminate()
        try:
            process.wait(timeout=30)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait(server: Server) -> None:
    end = time.monotonic() + START_S
    while True:
        try:
            server.ask("/api/health")
            return
        except OSError:
            if not server.alive() or time.monotonic() > end:
                text = server.log.read_text("utf-8", "replace")
                raise RuntimeError(f"the server did not start:\n{text}") from None
            time.sleep(0.1)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
