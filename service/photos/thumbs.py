"""Small pictures of the kept photos for pages of many; made when first asked for."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from classifier.errors import StorageError
from service.photos.names import PhotoStore
from service.private import make_private, write_private
from service.synced import draft_of

SIDE_PX = 256
"""Longest side: sharp on a phone's screen in a grid, and what a network sees of a photo."""


@dataclass(frozen=True, slots=True)
class Look:
    """A small picture in grey, and the shorter side of the photo that it was made from."""

    grey: NDArray[np.uint8]
    short_side_px: int


class Thumbs:
    """A folder of small JPEGs beside the photos; it can be deleted at any time."""

    def __init__(self, folder: Path, photos: PhotoStore) -> None:
        self._folder = folder
        self._photos = photos

    def read(self, name: str) -> bytes:
        """Return the small JPEG of a photo, made now if it is not there yet.

        Raises UnknownIdError when the photo is missing, StorageError when it can't be read.
        """
        path = self._folder / self._photos.checked(name)
        with suppress(OSError):
            return path.read_bytes()
        jpeg = _shrunk(self._photos.read(name), name)
        # Without the right to write the page still works, only slower.
        with suppress(OSError):
            _write(path, jpeg)
        return jpeg

    def look(self, name: str) -> Look:
        """Return what a photo's quality is judged by.

        Raises UnknownIdError, StorageError as `read` does.
        """
        whole = self._photos.read(name)
        with Image.open(BytesIO(whole)) as photo:
            short = min(photo.size)
        with Image.open(BytesIO(self.read(name))) as small:
            return Look(np.asarray(small.convert("L")), short)

    def remove(self, name: str) -> None:
        """Forget the small picture of a photo."""
        with suppress(OSError):
            (self._folder / self._photos.checked(name)).unlink(missing_ok=True)


def size_of(jpeg: bytes) -> tuple[int, int]:
    """Return width and height of a photo.

    Raises StorageError when it is damaged.
    """
    try:
        with Image.open(BytesIO(jpeg)) as photo:
            return photo.size
    except (OSError, ValueError) as error:
        raise StorageError(f"a photo is damaged ({error}): restore it from a backup") from error


def _shrunk(jpeg: bytes, name: str) -> bytes:
    try:
        with Image.open(BytesIO(jpeg)) as photo:
            photo.draft("RGB", (SIDE_PX, SIDE_PX))
            small = photo.convert("RGB")
    except (OSError, ValueError) as error:
        raise StorageError(
            f"the photo {name} is damaged ({error}): restore it from a backup", photo=name
        ) from error
    small.thumbnail((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS)
    out = BytesIO()
    small.save(out, "JPEG", quality=80, optimize=True)
    return out.getvalue()


def _write(path: Path, data: bytes) -> None:
    make_private(path.parent)
    with draft_of(path) as draft:
        write_private(draft, data)
