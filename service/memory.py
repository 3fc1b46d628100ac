"""Memory of a process with many threads."""

from __future__ import annotations

import ctypes
import sys

_ARENA_MAX = -8  # name of mallopt(3), glibc
_ARENAS = 2


def share_arenas() -> None:
    """Have the C library's threads share two pools of memory.

    By default glibc gives each thread a pool of its own, up to eight a core, and what one thread
    frees no other can use. Elsewhere nothing is changed.
    """
    if sys.platform != "linux":
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)  # musl has none
    if mallopt is not None:
        mallopt(_ARENA_MAX, _ARENAS)
