"""Files and names that last: on the disk before anybody counts on them."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from uuid import uuid4

UNFINISHED = ".unfinished-"
"""How a name begins under which something is still being written; a crash may leave it."""


@contextmanager
def draft_of(target: Path) -> Iterator[Path]:
    """Give a path beside `target` to write to; at the end of the block it takes the target's name.

    Whoever looks finds what was there before, or the whole new file. Where the block fails nothing
    is left. Raises OSError.
    """
    draft = target.with_name(f"{UNFINISHED}{uuid4()}")
    try:
        yield draft
        os.replace(draft, target)
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)


def write_synced(target: Path, data: bytes) -> None:
    """Write a new file that only this user may read, and wait until the disk has it.

    Raises OSError.
    """
    # Never readable for others, not even for the moment between writing and chmod.
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    descriptor = os.open(target, flags, 0o600)
    try:
        view = memoryview(data)
        while view:
            view = view[os.write(descriptor, view) :]
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder_synced(folder: Path) -> None:
    """Make a folder and those above it that are missing, so that the name of each lasts.

    Raises OSError.
    """
    if folder.is_dir():
        return
    make_folder_synced(folder.parent)
    folder.mkdir(exist_ok=True, mode=0o700)
    sync_folder(folder.parent)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last; Windows can't open folders and does without.

    Raises OSError.
    """
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
