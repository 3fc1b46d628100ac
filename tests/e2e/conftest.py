"""A server of its own and a browser for each test; skipped, with the reason, without Chromium."""

from __future__ import annotations

import os
import random
import shutil
import socket
import time
import urllib.request
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.process import BaseProcess
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from tests.e2e.fake_camera import write_video
from tests.e2e.served import started
from tests.tiny_bundle import FORMS, write_tiny_bundle

CAMERA_SHOWS = "food_can"
_NAMES = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome")
_START_S = 60.0
_FIRST_PORT, _PORTS = 20_000, 2_000  # below those that the system gives out by itself
# A busy machine, and the page's own pause before it sends again, take longer than the usual 5 s.
expect.set_options(timeout=20_000)


def _chromium() -> str:
    found = next(filter(None, map(shutil.which, _NAMES)), None)
    if found is None:
        reason = (
            f"no Chromium on this machine (looked for {', '.join(_NAMES)}): install it, on Debian "
            "with apt-get install chromium"
        )
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


@dataclass
class Server:
    """`tallytare serve` in a process of its own, which a test may kill and start again."""

    data_dir: Path
    bundle: Path
    port: int
    process: BaseProcess | None = field(default=None)

    @property
    def address(self) -> str:
        """Where the pages are."""
        return f"http://localhost:{self.port}"

    def start(self) -> None:
        """Start and wait until it answers."""
        settings = {
            "TALLYTARE_DATA_DIR": str(self.data_dir),
            "TALLYTARE_BUNDLE": str(self.bundle),
            "TALLYTARE_PORT": str(self.port),
        }
        log = self.data_dir.parent / "server.log"
        self.process = started(settings, log)
        end = time.monotonic() + _START_S
        while not self._answers():
            if not self.process.is_alive() or time.monotonic() > end:
                pytest.fail(f"the server did not start:\n{log.read_text('utf-8', 'replace')}")
            time.sleep(0.05)

    def kill(self) -> None:
        """End it at once, as a power cut would."""
        if self.process is not None:
            self.process.kill()
            self.process.join(20)
            self.process = None

    def _answers(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}/api/health", timeout=2):
                return True
        except OSError:
            return False


def _free_port() -> int:
    """Return a port that nobody has; each of several test workers has a range of its own."""
    number = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
    first = _FIRST_PORT + number * _PORTS
    for port in random.sample(range(first, first + _PORTS), _PORTS):
        with socket.socket() as probe, suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port
    raise AssertionError(f"no port from {first} on is free")


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    """Return a running server with an empty store and the tiny model."""
    _chromium()
    data_dir = tmp_path / "data"
    data_dir.mkdir()
    made = Server(data_dir, write_tiny_bundle(tmp_path / "bundle"), _free_port())
    made.start()
    yield made
    made.kill()


@pytest.fixture(scope="module")  # no wider: Playwright keeps an event loop running in this thread
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """Return Chromium; its camera shows a grey food can."""
    executable = _chromium()
    video = tmp_path_factory.mktemp("camera") / "camera.y4m"
    write_video(video, FORMS[CAMERA_SHOWS][0])
    arguments = [
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={video}",
    ]
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=executable, args=arguments)
        yield started
        started.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """Return a fresh profile at desk size; any mistake in a script of ours fails the test."""
    made = browser.new_context(viewport={"width": 1440, "height": 900})
    made.set_default_timeout(20_000)
    mistakes: list[str] = []
    made.on("weberror", lambda error: mistakes.append(str(error.error)))
    yield made
    made.close()
    assert mistakes == []


@pytest.fixture
def page(context: BrowserContext) -> Page:
    """Return a page."""
    return context.new_page()
