"""Memory of a process that computes batch after batch on a CPU."""

from __future__ import annotations

import ctypes
import sys

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3  # names of mallopt(3), glibc
_KEPT, _LARGEST = 2**31 - 1, 2**25  # bytes; glibc refuses a larger second one


def keep_freed_memory() -> None:
    """Have the C library keep what a batch frees for the next one.

    By default glibc hands large pieces back to the system after each use and asks for them again,
    empty, which took a third of the time of small batches here. Elsewhere nothing is changed.
    """
    if sys.platform != "linux":
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)  # musl has none
    if mallopt is not None:
        mallopt(_MMAP_THRESHOLD, _LARGEST)
        mallopt(_TRIM_THRESHOLD, _KEPT)
