"""Failed attempts to join: each makes the next wait, ten lock the address out for a while.

Counted in this process, by address and by nothing wider: whoever has the right code must get in,
however many others try wrong ones, also from the same network. Codes hold 60 bits and live ten
minutes, so nobody guesses one all the same, with as many addresses as they like (a test does the
sum for a hundred services). Counting in the database would give them a way to write into it.
"""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from service.web.connections import plain_address

FREE = 3
"""Mistyped codes that cost nothing."""
LOCK_AFTER = 10
LOCK_S = 900.0
MOST_ADDRESSES = 1000
"""Addresses that are remembered; the one that was quiet for longest is forgotten first."""


@dataclass(slots=True)
class _Record:
    failures: int
    last: float


class Attempts:
    """Bounded memory of failures; `begin` counts one until `succeeded` takes it back."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self._records: OrderedDict[str, _Record] = OrderedDict()
        self._lock = threading.Lock()

    def begin(self, address: str) -> int:
        """Return for how many seconds the address still has to wait; 0: it may try now.

        The attempt counts as failed at once, so that many at the same time are no way around.
        """
        key, now = plain_address(address), self._now()
        with self._lock:
            record = self._records.pop(key, None) or _Record(0, now)
            if record.failures and now - record.last > 2 * LOCK_S:
                record = _Record(0, now)
            self._records[key] = record
            while len(self._records) > MOST_ADDRESSES:
                self._records.popitem(last=False)
            wait = record.last + _pause(record.failures) - now
            if wait > 0:
                return math.ceil(wait)
            record.failures, record.last = record.failures + 1, now
            return 0

    def succeeded(self, address: str) -> None:
        """Forget the failures of an address that knew a code."""
        with self._lock:
            self._records.pop(plain_address(address), None)


def _pause(failures: int) -> float:
    if failures >= LOCK_AFTER:
        return LOCK_S
    return 0.0 if failures < FREE else float(2 ** (failures - FREE))
