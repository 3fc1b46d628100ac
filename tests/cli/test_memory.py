"""Threads share memory pools, seen in what the C library tells of them."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

PROGRAM = """
import ctypes, sys, threading
from service.memory import share_arenas

if sys.argv[1] == "shared":
    share_arenas()
libc = ctypes.CDLL(None)
libc.malloc.restype = libc.fdopen.restype = ctypes.c_void_p
libc.free.argtypes = [ctypes.c_void_p]
libc.malloc_info.argtypes = [ctypes.c_int, ctypes.c_void_p]
libc.fflush.argtypes = [ctypes.c_void_p]
together = threading.Barrier(8)

def use():
    piece = libc.malloc(1000)
    together.wait()
    libc.free(piece)

threads = [threading.Thread(target=use) for _ in range(8)]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
said = libc.fdopen(1, b"w")
libc.malloc_info(0, said)
libc.fflush(said)
"""


def _pools(how: str) -> int:
    command = [sys.executable, "-c", PROGRAM, how]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return done.stdout.count("<heap nr=")


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only glibc has such pools")
def test_threads_share_two_pools() -> None:
    assert _pools("shared") == 2
    assert _pools("as it is") > 2
