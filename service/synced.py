"""Files and names that last: on the disk before anybody is told of them."""

from __future__ import annotations

import os
from pathlib import Path


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
    folder.mkdir(exist_ok=True)
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
