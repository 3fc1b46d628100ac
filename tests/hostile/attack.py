"""Sends hostile uploads and keeps count of what came back."""

from __future__ import annotations

import http.client
import json
import random
import sys
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

from tests.hostile.bombs import bombs
from tests.hostile.photographs import FORMATS, SEED, mutated, photographs
from tests.hostile.server import Server
from tests.hostile.stored import traces
from tests.hostile.wire import BOUND, IDS, NAMES, WRONG, exchange, form

LONGEST_S = 2.0
MOST_MB = 1000.0
PATIENCE_S = 60.0
REFUSED = {400, 404, 409, 411, 413, 415, 422, 431}
AT_ONCE = 2
TRIES = 3
"""What took too long is sent again, alone, so often; the fastest answer counts. The server's own
working time is read beside it, since on a machine shared with others an answer also waits."""


@dataclass(frozen=True)
class Shot:
    """One upload: what it is, its bytes on the wire, and a way to say it again under a new id."""

    kind: str
    name: str
    data: bytes


@dataclass(frozen=True)
class Again:
    """An upload that took too long, sent again alone: the fastest answer and the least work."""

    shot: Shot
    seconds: float
    worked_s: float


@dataclass
class Tally:
    """What happened, by kind."""

    sent: Counter[str] = field(default_factory=Counter)
    kept: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    closed: Counter[str] = field(default_factory=Counter)
    slowest: dict[str, float] = field(default_factory=dict)
    slowest_name: dict[str, str] = field(default_factory=dict)
    bad: list[str] = field(default_factory=list)
    again: list[Again] = field(default_factory=list)
    peak_mb: float = 0.0
    after_mb: float = 0.0
    traces: list[str] = field(default_factory=list)
    stored: int = 0
    seconds: float = 0.0

    @property
    def faults(self) -> list[str]:
        """Return everything that must not happen."""
        found = self.bad + self.traces
        found += [
            f"{each.shot.kind} {each.shot.name}: {each.seconds:.1f} s, {each.worked_s:.1f} s work"
            for each in self.again
            if each.worked_s > LONGEST_S or (each.seconds > LONGEST_S and not each.worked_s)
        ]
        if self.peak_mb > MOST_MB:
            found.append(f"{self.peak_mb:.0f} MB resident")
        return found


def shots(count: int, seed: int = SEED) -> Iterator[Shot]:
    """Give that many uploads: four in five broken files, the rest bombs and broken requests."""
    chance = random.Random(seed)
    named, wrong = list(bombs().items()), list(WRONG)
    for number in range(count):
        if number % 20 == 0:
            name, data = named[number // 20 % len(named)]
            yield Shot("bombs", name, data)
        elif number % 20 in (5, 10, 15):
            name = wrong[number // 5 % len(wrong)]
            yield Shot("wrong lengths and forms", name, _any(chance))
        elif number % 50 == 1:
            yield Shot("names and ids", "", _any(chance))
        else:
            kind = chance.choice(FORMATS)
            yield Shot(kind.lower(), "", mutated(chance.choice(photographs()[kind]), chance))


def _any(chance: random.Random) -> bytes:
    return chance.choice(photographs()[chance.choice(FORMATS)])


def attack(server: Server, count: int, *, seed: int = SEED, shown: bool = False) -> Tally:
    """Send them, two at a time, and look at what was kept."""
    sort = _new_sort(server)
    tally, start = Tally(), time.monotonic()
    slow: list[tuple[Shot, int]] = []
    with ThreadPoolExecutor(AT_ONCE) as pool:
        queue: list[_Sent] = []
        for number, shot in enumerate(shots(count, seed)):
            own = seed * 1_000_000 + number
            queue.append((shot, own, pool.submit(_fire, server, sort, shot, own)))
            if len(queue) >= 50:
                slow += _take(tally, queue)
            if shown and number % 1000 == 999:
                sys.stderr.write(f"{number + 1} sent, {server.now_mb():.0f} MB\n")
        slow += _take(tally, queue)
    tally.again = [_again(server, sort, shot, own) for shot, own in slow]
    tally.seconds = time.monotonic() - start
    if not server.alive():
        tally.bad.append("the server ended")
    elif _get(server, "/api/health") != 200:
        tally.bad.append("the server does not answer")
    tally.peak_mb, tally.after_mb = server.peak_mb(), server.now_mb()
    tally.traces = traces(server.data_dir)
    tally.stored = sum(1 for _ in (server.data_dir / "photos").rglob("*.jpg"))
    return tally


_Sent = tuple[Shot, int, "Future[tuple[int, float]]"]


def _take(tally: Tally, queue: list[_Sent]) -> list[tuple[Shot, int]]:
    """Count the answers and return what took too long."""
    slow = []
    for shot, own, future in queue:
        status, seconds = future.result()
        tally.sent[shot.kind] += 1
        if seconds > tally.slowest.get(shot.kind, 0.0):
            tally.slowest[shot.kind], tally.slowest_name[shot.kind] = seconds, shot.name
        if status == 201:
            tally.kept[shot.kind] += 1
        elif status in REFUSED:
            tally.refused[shot.kind] += 1
        elif status == 0 and shot.kind == "wrong lengths and forms":
            tally.closed[shot.kind] += 1
        else:
            tally.bad.append(f"{shot.kind} {shot.name}: answered with {status}")
        if seconds > LONGEST_S:
            slow.append((shot, own))
    queue.clear()
    return slow


def _again(server: Server, sort: str, shot: Shot, own: int) -> Again:
    seconds = worked_s = PATIENCE_S
    for _ in range(TRIES):
        before = server.worked_s()
        seconds = min(seconds, _fire(server, sort, shot, own)[1])
        worked_s = min(worked_s, server.worked_s() - before)
        if seconds <= LONGEST_S:
            break
    return Again(shot, seconds, worked_s)


def _fire(server: Server, sort: str, shot: Shot, own: int) -> tuple[int, float]:
    """Return the status (0: closed, -1: none within a minute) and the seconds it took."""
    start = time.monotonic()
    try:
        status = _send(server, sort, shot, random.Random(own))
    except TimeoutError:
        status = -1
    except OSError:
        status = 0
    return status, time.monotonic() - start


def _send(server: Server, sort: str, shot: Shot, chance: random.Random) -> int:
    path, host = f"/api/sorts/{sort}/captures", f"127.0.0.1:{server.port}"
    capture_id, name = str(uuid.uuid4()), "IMG_1.jpg"
    if shot.kind == "names and ids":
        name = chance.choice(NAMES)
        capture_id = chance.choice((capture_id, *IDS))
    body = form(capture_id, shot.data, name=name)
    if shot.kind == "wrong lengths and forms":
        data = WRONG[shot.name](path, host, body, chance)
        return exchange(("127.0.0.1", server.port), data, patience_s=PATIENCE_S)
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=PATIENCE_S)
    try:
        kind = f"multipart/form-data; boundary={BOUND}"
        connection.request("POST", path, body, {"content-type": kind})
        answer = connection.getresponse()
        answer.read()
        return answer.status
    finally:
        connection.close()


def _new_sort(server: Server) -> str:
    sort_id = str(uuid.uuid4())
    sort = {
        "sort_id": sort_id,
        "name": "Hostile",
        "sorted_on": "2026-05-01",
        "days": 1,
        "persons": 1,
        "programme_id": "alder_valley",
        "keeps_photos": True,
    }
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=PATIENCE_S)
    connection.request("POST", "/api/sorts", json.dumps(sort), {"content-type": "application/json"})
    answer = connection.getresponse()
    if answer.status != 201:
        raise RuntimeError(answer.read().decode())
    connection.close()
    return sort_id


def _get(server: Server, path: str) -> int:
    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=PATIENCE_S)
    try:
        connection.request("GET", path)
        return connection.getresponse().status
    finally:
        connection.close()
