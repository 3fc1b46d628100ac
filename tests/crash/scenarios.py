"""What can go wrong, each as a function that makes it happen and returns a line of the table."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from service.settings import Settings
from tests.crash.audit import Finding, audit
from tests.crash.fleet import Fleet
from tests.crash.stations import Account, Station
from tests.postgres import PostgresServer

_STATIONS = 4
_ENTRIES_A_SORT = 250


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table."""

    scenario: str
    events: str
    account: Account
    finding: Finding


class Load:
    """Stations that enter until they are stopped; a new sort is started when one gets long."""

    def __init__(self, ports: list[int], *, seed: int, pause_s: float = 0.0) -> None:
        self.account = Account()
        self._stop = threading.Event()
        self._stations = [
            Station(self.account, ports, seed=seed + n, stop=self._stop, pause_s=pause_s)
            for n in range(_STATIONS)
        ]
        self._starter = Station(self.account, ports, seed=seed + _STATIONS, stop=self._stop)

    def __enter__(self) -> Load:
        """Start a sort and then all stations."""
        self._starter.start_sort()
        for station in self._stations:
            station.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Let every station end what it is sending, which needs a server that answers."""
        self._stop.set()
        for station in self._stations:
            station.thread.join(120)
        if any(station.thread.is_alive() for station in self._stations):
            self.account.troubles.append("a station got no answer within two minutes")

    def wait_for(self, more: int, *, at_most_s: float) -> None:
        """Wait until so many more entries were acknowledged."""
        target = self.account.acknowledged + more
        deadline = time.monotonic() + at_most_s
        while self.account.acknowledged < target and time.monotonic() < deadline:
            if self.account.troubles:
                raise AssertionError(self.account.troubles)
            time.sleep(0.01)
        if self.account.acknowledged > _ENTRIES_A_SORT * len(self.account.sorts):
            self._starter.start_sort()


def kills(
    settings: Settings,
    *,
    times: int,
    servers: int = 2,
    seed: int = 2026,
    database: PostgresServer | None = None,
    progress: Callable[[int], None] = lambda _: None,
) -> Line:
    """Kill servers at random moments under load while the clock steps and phones drop out.

    With `database` about every tenth time PostgreSQL itself is ended too, at least once.
    """
    chance = random.Random(seed)
    database_kills = 0
    with Fleet(settings, servers=servers) as fleet, Load(fleet.ports, seed=seed) as load:
        while fleet.kills < times:
            load.wait_for(8, at_most_s=20)
            time.sleep(chance.uniform(0, 0.4))
            fleet.step_clock(chance)
            overdue = not database_kills and fleet.kills >= times // 2
            if database is not None and (overdue or chance.random() < 0.1):
                database.kill()
                database.start()
                database_kills += 1
            live = fleet.listening() or fleet.ports
            victims = live if chance.random() < 0.3 else [chance.choice(live)]
            fleet.kill(victims[: times - fleet.kills])
            fleet.revive()
            progress(fleet.kills)
        load.wait_for(8, at_most_s=30)
    engine = "PostgreSQL" if settings.database_url else "SQLite"
    events = f"{fleet.kills} kills"
    if database_kills:
        events += f", {database_kills} of the database"
    name = f"kill -9, {servers} servers, stepping clock, {engine}"
    return Line(name, events, load.account, audit(settings, load.account))
