"""Failed attempts to join: each makes the next wait, ten lock the address out for a while.

Counted in this process, by address; several services on one database allow so many times more.
Codes hold 60 bits and live ten minutes, so nobody guesses one all the same (a test does the sum for
a hundred services); this keeps each machine from being flooded by those who try. Counting in the
database would give them a way to write into it.
"""

from __future__ import annotations

import ipaddress
import math
import threading
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass

FREE = 3
"""Mistyped codes that cost nothing."""
LOCK_AFTER = 10
LOCK_S = 900.0
MOST_ADDRESSES = 1000
"""Addresses that are remembered; the one that was quiet for longest is forgotten first."""
MOST_A_MINUTE = 60
"""Failures of all addresses together, for those who have many."""


@dataclass(slots=True)
class _Record:
    failures: int
    last: float


class Attempts:
    """Bounded memory of failures; `begin` counts one until `succeeded` takes it back."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._records: OrderedDict[str, _Record] = OrderedDict()
        self._recent: deque[float] = deque(maxlen=MOST_A_MINUTE)
        self._lock = threading.Lock()

    def begin(self, address: str) -> int:
        """Return for how many seconds the address still has to wait; 0: it may try now.

        The attempt counts as failed at once, so that many at the same time are no way around.
        """
        key, now = _network(address), self._now()
        with self._lock:
            record = self._records.pop(key, None) or _Record(0, now)
            if record.failures and now - record.last > 2 * LOCK_S:
                record = _Record(0, now)
            self._records[key] = record
            while len(self._records) > MOST_ADDRESSES:
                self._records.popitem(last=False)
            wait = max(record.last + _pause(record.failures), self._free_at()) - now
            if wait > 0:
                return math.ceil(wait)
            record.failures, record.last = record.failures + 1, now
            self._recent.append(now)
            return 0

    def succeeded(self, address: str) -> None:
        """Forget the failures of an address that knew a code."""
        with self._lock:
            self._records.pop(_network(address), None)
            if self._recent:
                self._recent.pop()

    def _free_at(self) -> float:
        full = len(self._recent) == MOST_A_MINUTE
        return self._recent[0] + 60.0 if full else -math.inf


def _pause(failures: int) -> float:
    if failures >= LOCK_AFTER:
        return LOCK_S
    return 0.0 if failures < FREE else float(2 ** (failures - FREE))


def _network(address: str) -> str:
    """Return the address; of IPv6 the /64, all of which one device may have."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address[:64]
    if parsed.version == 4:
        return str(parsed)
    if parsed.ipv4_mapped is not None:
        return str(parsed.ipv4_mapped)
    return str(ipaddress.ip_network((int(parsed), 64), strict=False))
