"""How far a command is, on standard error, once it takes longer than two seconds."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from typing import TypeVar

from tqdm import tqdm

T = TypeVar("T")

PATIENCE_S = 2.0


def progress(work: Iterable[T], *, total: int, unit: str) -> Iterator[T]:
    """Give `work` on, with a bar on standard error.

    In a terminal each piece of work writes its own line, which shows the same; a bar would break
    the lines up.
    """
    yield from tqdm(
        work, total=total, unit=unit, delay=PATIENCE_S, leave=False, disable=sys.stdout.isatty()
    )
