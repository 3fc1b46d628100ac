"""Files and names that last: on the disk before anybody is told of them."""

from __future__ import annotations

import os
import shutil
from pathlib import Path


def copy_synced(source: Path, target: Path) -> None:
    """Copy a file and wait until the disk has it."""
    shutil.copyfile(source, target)
    with target.open("rb+") as file:
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
