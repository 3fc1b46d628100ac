"""How far a command is, on standard error, once it takes longer than two seconds."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from tqdm import tqdm

T = TypeVar("T")

PATIENCE_S = 2.0


class Bar:
    """What the work calls to move the bar, in the ways that the use cases ask for."""

    def __init__(self, shown: Any) -> None:
        self._shown = shown

    def step(self) -> None:
        """One more is done."""
        self._shown.update()

    def done(self, done: int, total: int) -> None:
        """Say how many of all are done."""
        self._shown.total = total
        self._shown.update(done - self._shown.n)

    def part(self, what: str, done: int, total: int) -> None:
        """Say how far one of several parts is; each begins at nothing."""
        if self._shown.desc != f"{what}: ":
            self._shown.reset(total)
            self._shown.set_description(what)
        self.done(done, total)


@contextmanager
def bar(unit: str = "it") -> Iterator[Bar]:
    """Give a bar that is gone when the work is."""
    with tqdm(unit=unit, delay=PATIENCE_S, leave=False) as shown:
        yield Bar(shown)


def progress(work: Iterable[T], *, total: int, unit: str) -> Iterator[T]:
    """Give `work` on, with a bar.

    In a terminal each piece of work writes its own line, which shows the same; a bar would break
    the lines up.
    """
    if sys.stdout.isatty():
        yield from work
        return
    with bar(unit) as shown:
        for number, each in enumerate(work):
            shown.done(number, total)
            yield each
