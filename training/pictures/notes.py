"""What a run tells on the way: on stderr, once, however many processes train together."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import TypeVar

from tqdm import tqdm

_T = TypeVar("_T")
_PATIENCE_S = 2.0
_IN_A_LOG_S = 10.0


def is_first_process() -> bool:
    """Whether this is the only process, or the first of those that `torchrun` started."""
    return os.environ.get("RANK", "0") == "0"


def tell(text: str) -> None:
    """Write lines to stderr, unless another process writes the same ones."""
    if is_first_process():
        sys.stderr.write(text)


def bar(parts: Iterable[_T], total: int, what: str) -> Iterable[_T]:
    """Show on stderr how far it is, with the time left, once it takes more than two seconds.

    In a log, which keeps every state of the bar, seldom: what else is said must be found in it.
    """
    return tqdm(
        parts,
        total=total,
        desc=what,
        delay=_PATIENCE_S,
        mininterval=0.1 if sys.stderr.isatty() else _IN_A_LOG_S,
        disable=not is_first_process(),
    )
