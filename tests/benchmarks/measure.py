"""Timing, and what a figure is reported as."""

from __future__ import annotations

import os
import platform
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Figure:
    """One line of the table; `goal` is what was asked for, `held` whether it is met."""

    what: str
    value: str
    goal: str = ""
    held: bool | None = None

    @property
    def row(self) -> str:
        """The line in Markdown."""
        met = "" if self.held is None else ("yes" if self.held else "no")
        return f"| {self.what} | {self.value} | {self.goal} | {met} |"


def table(figures: Sequence[Figure]) -> str:
    """Return the figures as a Markdown table."""
    head = ["| what | measured | goal | met |", "| --- | --- | --- | --- |"]
    return "\n".join([*head, *(figure.row for figure in figures)])


def say(text: str) -> None:
    """Write a line of progress to standard error."""
    sys.stderr.write(f"{time.strftime('%H:%M:%S')} {text}\n")


def machine() -> str:
    """Return processor, cores, memory, system and how busy it was at the start."""
    info = Path("/proc/cpuinfo")
    name = platform.processor() or platform.machine()
    if info.exists():
        lines = info.read_text().splitlines()
        names = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
        name = names[0] if names else name
    gigabytes = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9
    return (
        f"{name}, {os.cpu_count()} cores, {gigabytes:.0f} GB, {platform.system()} "
        f"{platform.release()}, Python {platform.python_version()}; load average "
        f"{os.getloadavg()[0]:.1f} at the start"
    )


def core_seconds(*works: Callable[[], object], rounds: int = 15) -> list[float]:
    """Return the median seconds of one core of each work, all in turn on one thread.

    The processor's time of this thread is counted, not the clock on the wall: others on the machine
    then disturb less, and all works alike.
    """
    taken: list[list[float]] = [[] for _ in works]
    for work in works:
        work()
    for _ in range(rounds):
        for seconds, work in zip(taken, works, strict=True):
            began = time.thread_time()
            work()
            seconds.append(time.thread_time() - began)
    return [statistics.median(seconds) for seconds in taken]


def wall_seconds(work: Callable[[], object], rounds: int) -> list[float]:
    """Return the seconds by the clock of each round, sorted."""
    taken = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return sorted(taken)


def p95(taken: Sequence[float]) -> float:
    """Return the 95th percentile of sorted seconds."""
    return taken[min(len(taken) - 1, int(0.95 * len(taken)))]


def resident_mb(process: int) -> float:
    """Return the resident memory of a process in MB (Linux)."""
    for line in Path(f"/proc/{process}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) * 1024 / 1e6
    return float("nan")
