"""Folders and files that only this user may read, whatever the umask and whoever made them."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def make_private(folder: Path) -> None:
    """Make a folder that only this user may enter; close one that is there already.

    A folder that others share by its nature (with the sticky bit, as /tmp), or that belongs to
    somebody else, is left as it is: `open_to_others` names it. Raises OSError.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    _close(folder)


def close_to_others(*paths: Path) -> None:
    """Let only this user read these files and folders, as far as they are there and ours."""
    for path in paths:
        with suppress(OSError):
            _close(path)


def make_private_file(path: Path) -> None:
    """Make an empty file that only this user may read, unless one is there, which is closed.

    Raises OSError.
    """
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    close_to_others(path)


def write_private(path: Path, data: bytes) -> None:
    """Write a file that only this user may read. Raises OSError."""
    make_private_file(path)
    path.write_bytes(data)


def open_to_others(top: Path) -> Iterator[Path]:
    """Give what others can read: `top`, or what lies in it where others may enter."""
    if os.name == "nt":
        return
    with suppress(OSError):
        found = top.lstat().st_mode
        if stat.S_ISLNK(found) or not found & _OTHERS:
            return
        yield top
        if stat.S_ISDIR(found):
            for entry in sorted(top.iterdir()):
                yield from open_to_others(entry)


def _close(path: Path) -> None:
    if os.name == "nt":
        return
    found = path.stat()
    if found.st_mode & _OTHERS and not found.st_mode & stat.S_ISVTX:
        path.chmod(stat.S_IMODE(found.st_mode) & ~_OTHERS)
