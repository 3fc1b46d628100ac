"""Freed memory is kept, seen in what the system counts."""

from __future__ import annotations

import subprocess
import sys

import pytest

LOOP = """
import resource, sys
import numpy as np
from training.learning.memory import keep_freed_memory

if sys.argv[1] == "kept":
    keep_freed_memory()
def batch():
    return [np.ones(1_500_000) for _ in range(6)]  # 12 MB each, as the features of a batch

batch(), batch()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(10):
    batch()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def _faults(how: str) -> int:
    done = subprocess.run(
        [sys.executable, "-c", LOOP, how], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


@pytest.mark.skipif(sys.platform != "linux", reason="about glibc, the C library of Linux")
def test_the_system_is_not_asked_again_for_what_was_freed() -> None:
    assert _faults("kept") < 0.2 * _faults("as it is")
