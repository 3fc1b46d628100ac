"""Files and folders named on the command line to single photographs."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from classifier.errors import PhotoTooLargeError, UnreadablePhotoError
from service.examples.folder import PICTURE_SUFFIXES


def expand(paths: Sequence[Path]) -> list[Path]:
    """Return files as they are and folders as the photographs in them, in the order of names.

    A folder is searched with the folders in it; hidden ones are left out. A folder without any
    photograph stays in the list, so that reading it says so.
    """
    found: list[Path] = []
    for path in paths:
        inside = sorted(_photos_in(path)) if path.is_dir() else []
        found += inside or [path]
    return found


def shown(path: Path | str) -> str:
    """Return a path as text that any terminal can show, whatever bytes its name holds."""
    return os.fsencode(path).decode("utf-8", errors="replace")


def read_bytes(path: Path, max_bytes: int) -> bytes:
    """Return the bytes of one photograph.

    Raises UnreadablePhotoError for what is no readable file and PhotoTooLargeError before it reads
    one over `max_bytes`.
    """
    if path.is_dir():
        raise UnreadablePhotoError(
            "the folder holds no photograph; allowed: files named "
            f"{', '.join(sorted(PICTURE_SUFFIXES))}; name another folder, or the file itself"
        )
    try:
        if not path.is_file():
            raise UnreadablePhotoError(
                "there is no such file; allowed: photographs and folders of them; check the name"
            )
        size = path.stat().st_size
        if size > max_bytes:
            raise PhotoTooLargeError(
                f"the file has {size / 1e6:.1f} MB; allowed: at most {max_bytes / 1e6:.1f} MB; "
                "save the picture smaller, or set TALLYTARE_MAX_UPLOAD_BYTES",
                given_bytes=size,
                max_bytes=max_bytes,
            )
        return path.read_bytes()
    except OSError as error:
        raise UnreadablePhotoError(
            f"the file can't be read ({error.strerror}); allowed: files this user may read; "
            "check its rights"
        ) from error


def _photos_in(folder: Path) -> Iterator[Path]:
    for path in folder.rglob("*"):
        hidden = any(part.startswith(".") for part in path.relative_to(folder).parts)
        if path.suffix.lower() in PICTURE_SUFFIXES and not hidden and path.is_file():
            yield path
