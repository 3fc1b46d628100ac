"""Files and names that last: on the disk before anybody is told of them."""

from __future__ import annotations

import os
from pathlib import Path


def write_synced(target: Path, data: bytes) -> None:
    """Write a new file and wait until the disk has it."""
    with target.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Make the names in a folder last; Windows can't open folders and does without."""
    if os.name == "nt":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
