"""A real server in a process of its own: start, memory, and a hundred phones at once."""

from __future__ import annotations

import asyncio
import atexit
import functools
import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2

from tests.benchmarks.measure import Figure, p95, resident_mb, say
from tests.benchmarks.scenes import TWELVE_MEGAPIXELS, photograph

_COMMAND = [sys.executable, "-c", "from service.cli.main import main; main()", "serve"]


@dataclass
class Server:
    """Where it listens and the process that serves."""

    address: str
    process: subprocess.Popen[bytes]


@contextmanager
def serving(bundle: Path) -> Iterator[Server]:
    """Start a server on an empty store and give it without waiting until it answers.

    It finds its modules compiled, as they are where pip installed them, from the second start on.
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        settings = {"DATA_DIR": folder, "PORT": str(port), "BUNDLE": str(bundle)}
        env = os.environ | {f"TALLYTARE_{name}": value for name, value in settings.items()}
        env["PYTHONPYCACHEPREFIX"] = str(_compiled())
        env.pop("PYTHONDONTWRITEBYTECODE", None)
        process = subprocess.Popen(
            _COMMAND, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        try:
            yield Server(f"http://127.0.0.1:{port}", process)
        finally:
            process.terminate()
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@functools.cache
def _compiled() -> Path:
    folder = tempfile.mkdtemp(prefix="tallytare-compiled-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Path(folder)


def start_and_memory(bundle: Path) -> list[Figure]:
    """Measure the start to the first suggestion, and memory after forty large photos."""
    photo = photograph(3, (1024, 768), quality=85)
    starts = []
    for number in range(4):
        say("start to first suggestion")
        began = time.perf_counter()
        with serving(bundle) as server, httpx2.Client(base_url=server.address) as client:
            _await(client)
            _capture(client, _start_sort(client), photo)
            if number:  # the first compiles
                starts.append(time.perf_counter() - began)
    say("memory")
    with serving(bundle) as server, httpx2.Client(base_url=server.address, timeout=60) as client:
        _await(client)
        sort_id = _start_sort(client)
        photos = [photograph(number, TWELVE_MEGAPIXELS) for number in range(5)]
        captures = [_capture(client, sort_id, photos[number % 5]) for number in range(40)]
        memory = resident_mb(server.process.pid)
        for capture_id in captures[:20]:
            _confirm(client, sort_id, capture_id)
        time.sleep(2)  # learning goes on beside it
        learned = resident_mb(server.process.pid)
    return [
        Figure(
            "start of the service to the first suggestion, empty store made on the way",
            f"{min(starts):.2f} s, best of {len(starts)} ({max(starts):.2f} s the slowest)",
            "under 2 s",
            min(starts) < 2,
        ),
        Figure(
            "resident after 40 photos of 12 megapixels",
            f"{memory:.0f} MB; {learned:.0f} MB once it has learned from 20 of them",
            "under 250 MB",
            memory < 250,
        ),
    ]


@dataclass
class _Taken:
    photos: list[float] = field(default_factory=list)
    confirmations: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


def hundred_phones(
    bundle: Path, *, phones: int = 100, seconds: float = 60.0, pause_s: float = 20.0
) -> list[Figure]:
    """Simulate phones, each with a sort of its own: photo, look, confirm, pause."""
    say(f"{phones} phones for {seconds:.0f} s")
    photos = [photograph(number, (1024, 768), quality=80) for number in range(12)]
    taken = _Taken()
    with serving(bundle) as server:
        with httpx2.Client(base_url=server.address) as client:
            _await(client)
            sorts = [_start_sort(client) for _ in range(phones)]
        asyncio.run(_all(server.address, sorts, photos, taken, seconds, pause_s))
    if not taken.photos or not taken.confirmations:
        raise RuntimeError(f"nothing was answered: {taken.errors[:3]}")
    photo, confirmation = (p95(sorted(each)) for each in (taken.photos, taken.confirmations))
    return [
        Figure(
            f"{phones} phones, a photo of {len(photos[0]) / 1000:.0f} kB and a confirmation each "
            f"{pause_s:.0f} s or so ({len(taken.photos) / seconds:.1f} photos a second in all)",
            f"p95 {photo:.2f} s photo to suggestion, {confirmation:.2f} s confirmation; "
            f"{len(taken.errors)} errors",
            "no errors, p95 under 1 s",
            not taken.errors and max(photo, confirmation) < 1,
        )
    ]


async def _all(
    address: str,
    sorts: list[str],
    photos: list[bytes],
    taken: _Taken,
    seconds: float,
    pause_s: float,
) -> None:
    limits = httpx2.Limits(max_connections=len(sorts), max_keepalive_connections=len(sorts))
    end = time.monotonic() + seconds
    async with httpx2.AsyncClient(base_url=address, timeout=30, limits=limits) as client:
        phones = (
            _phone(client, sort_id, photos, taken, end, pause_s, random.Random(number))
            for number, sort_id in enumerate(sorts)
        )
        await asyncio.gather(*phones)


async def _phone(
    client: httpx2.AsyncClient,
    sort_id: str,
    photos: list[bytes],
    taken: _Taken,
    end: float,
    pause_s: float,
    chance: random.Random,
) -> None:
    await asyncio.sleep(chance.uniform(0, pause_s))  # nobody begins at the same moment
    while time.monotonic() < end:
        capture_id = str(uuid.uuid4())
        files = {"photo": ("a.jpg", chance.choice(photos), "image/jpeg")}
        answer = await _timed(
            client,
            taken.photos,
            taken.errors,
            f"/api/sorts/{sort_id}/captures",
            data={"capture_id": capture_id},
            files=files,
        )
        await asyncio.sleep(chance.uniform(0.5, 2))
        if answer is not None:
            path, item = f"/api/sorts/{sort_id}/items", _item(capture_id)
            await _timed(client, taken.confirmations, taken.errors, path, json=item)
        await asyncio.sleep(chance.uniform(0.6, 1.4) * pause_s)


async def _timed(
    client: httpx2.AsyncClient, taken: list[float], errors: list[str], path: str, **sent: Any
) -> httpx2.Response | None:
    began = time.perf_counter()
    try:
        answer = await client.post(path, **sent)
    except httpx2.HTTPError as error:
        errors.append(repr(error))
        return None
    taken.append(time.perf_counter() - began)
    if answer.status_code != 201:
        errors.append(f"{answer.status_code} {answer.text[:200]}")
        return None
    return answer


def _await(client: httpx2.Client) -> None:
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            if client.get("/api/health").is_success:
                return
        except httpx2.TransportError:
            time.sleep(0.02)
    raise RuntimeError("the server did not start")


def _start_sort(client: httpx2.Client) -> str:
    sort_id = str(uuid.uuid4())
    sort = {
        "sort_id": sort_id,
        "name": "Bag",
        "sorted_on": "2026-05-01",
        "days": 7,
        "persons": 2,
        "programme_id": "alder_valley",
    }
    client.post("/api/sorts", json=sort).raise_for_status()
    return sort_id


def _capture(client: httpx2.Client, sort_id: str, photo: bytes) -> str:
    capture_id = str(uuid.uuid4())
    answer = client.post(
        f"/api/sorts/{sort_id}/captures",
        data={"capture_id": capture_id},
        files={"photo": ("a.jpg", photo, "image/jpeg")},
        timeout=60,
    )
    answer.raise_for_status()
    return capture_id


def _confirm(client: httpx2.Client, sort_id: str, capture_id: str) -> None:
    client.post(f"/api/sorts/{sort_id}/items", json=_item(capture_id)).raise_for_status()


def _item(capture_id: str) -> dict[str, Any]:
    return {
        "item_id": str(uuid.uuid4()),
        "capture_id": capture_id,
        "category": "corrugated_cardboard",
        "count": 1,
    }
