"""What a run tells on the way: on stderr, once, however many processes train together."""

from __future__ import annotations

import os
import sys


def is_first_process() -> bool:
    """Whether this is the only process, or the first of those that `torchrun` started."""
    return os.environ.get("RANK", "0") == "0"


def tell(text: str) -> None:
    """Write lines to stderr, unless another process writes the same ones."""
    if is_first_process():
        sys.stderr.write(text)
