"""What stored photos are called, and what a place that keeps them must be able to do.

A name tells the photo's id, a digest of what was sent, and one of the content, so that a file that
changed on the disk is found. Photos kept by version 0.1 have names without the last.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Protocol
from uuid import UUID

from classifier.errors import StorageError, UnknownIdError

_NAME = re.compile(r"[0-9a-f]{2}/[0-9a-f-]{36}-[0-9a-f]{12}(?:-([0-9a-f]{16}))?\.jpg")


class PhotoStore(Protocol):
    """A place for cleaned photos: a folder, or anything that fsspec can reach."""

    @property
    def place(self) -> str:
        """Where it is."""

    def keep(self, capture_id: str, jpeg: bytes, *, sent: str) -> str:
        """Write a photo so that it lasts, and return its name. Raises StorageError."""

    def put(self, name: str, jpeg: bytes) -> None:
        """Write a photo under a name that it was given elsewhere. Raises StorageError."""

    def read(self, name: str) -> bytes:
        """Return the bytes of a photo. Raises UnknownIdError, StorageError."""

    def has(self, name: str) -> bool:
        """Tell whether a photo is there. Raises StorageError when nobody can say."""

    def remove(self, name: str) -> None:
        """Delete a photo that no row names; `has` tells whether that could be done."""

    def names(self) -> Iterator[str]:
        """Give the names of all photos. Raises StorageError when the place does not answer."""

    def unfinished(self) -> Iterator[str]:
        """Give the names of files whose writing was cut off. Raises StorageError."""

    def checked(self, name: str) -> str:
        """Return a name if it is one of ours. Raises UnknownIdError."""


def name_of(capture_id: str, jpeg: bytes, *, sent: str) -> str:
    """Return the name of a photo.

    It holds a digest of the content and of `sent`, which tells what the client sent: two different
    requests under one id can neither overwrite nor remove each other's file, even if their
    cleaned photos are equal.
    """
    own = str(UUID(capture_id))
    digest = hashlib.sha256(sent.encode() + b"\0" + jpeg).hexdigest()[:12]
    return f"{own[:2]}/{own}-{digest}-{hashlib.sha256(jpeg).hexdigest()[:16]}.jpg"


def checked_name(name: str) -> str:
    """Return a name if it is one of ours, so that it may become part of a path.

    Raises UnknownIdError when it is not.
    """
    if not _NAME.fullmatch(name):
        raise UnknownIdError(f"{name!r} is no name of a stored photo", photo=name)
    return name


def is_whole(name: str, jpeg: bytes) -> bool:
    """Tell whether the bytes are those that were kept under the name, as far as it tells.

    A name of version 0.1 holds no digest of the content; then both ends of a JPEG must be there.
    """
    found = _NAME.fullmatch(name)
    if found is None or found[1] is None:
        return jpeg.startswith(b"\xff\xd8") and jpeg.endswith(b"\xff\xd9")
    return hashlib.sha256(jpeg).hexdigest()[:16] == found[1]


def read_whole(photos: PhotoStore, name: str) -> bytes:
    """Return a photo that is what was kept under its name.

    Raises UnknownIdError when it is missing, StorageError when it is damaged or can't be read.
    """
    jpeg = photos.read(name)
    if not is_whole(name, jpeg):
        raise StorageError(
            f"the photo {name} is damaged: restore it from a backup, or withdraw it", photo=name
        )
    return jpeg


@dataclass(frozen=True, slots=True)
class Faults:
    """Names of photos that are missing, and of those that are damaged or can't be read."""

    missing: tuple[str, ...]
    damaged: tuple[str, ...]


def faults_of(photos: PhotoStore, names: Iterable[str]) -> Faults:
    """Read photos to their last byte and return what is wrong with them."""
    missing, damaged = [], []
    for name in sorted(names):
        try:
            read_whole(photos, name)
        except UnknownIdError:
            missing.append(name)
        except StorageError:
            damaged.append(name)
    return Faults(tuple(missing), tuple(damaged))
