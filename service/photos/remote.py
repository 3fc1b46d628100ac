"""Photos behind a URL: a share, a bucket, another machine; needs the extra "remote" (fsspec)."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from typing import Any
from uuid import uuid4

import fsspec

from classifier.errors import StorageError, UnknownIdError
from service.photos.names import checked_name, name_of
from service.synced import UNFINISHED


class RemotePhotos:
    """JPEG files in anything that fsspec can reach.

    A photo is written under another name, then renamed; how well it lasts is up to the place.
    """

    def __init__(self, url: str) -> None:
        found: tuple[Any, str] = fsspec.core.url_to_fs(url)
        self._files, root = found
        self._root = root.rstrip("/")

    @property
    def place(self) -> str:
        """Where the photos are, without what the URL says of keys."""
        return f"{type(self._files).__name__} {self._root}"

    def keep(self, capture_id: str, jpeg: bytes, *, sent: str) -> str:
        """Write a photo and return its name. Raises StorageError when the place refuses."""
        name = name_of(capture_id, jpeg, sent=sent)
        self.put(name, jpeg)
        return name

    def put(self, name: str, jpeg: bytes) -> None:
        """Write a photo under a name that it has already.

        Raises StorageError when the place refuses or keeps another number of bytes.
        """
        path = self._path(name)
        folder = path.rsplit("/", 1)[0]
        unfinished = f"{folder}/{UNFINISHED}{uuid4()}"
        try:
            self._files.makedirs(folder, exist_ok=True)
            self._files.pipe_file(unfinished, jpeg)
            self._files.mv(unfinished, path)
            kept = self._files.info(path)["size"]
        except Exception as error:  # each of fsspec's places raises its own
            with suppress(Exception):
                self._files.rm_file(unfinished)
            raise self._refused("stored", name, error) from error
        if kept != len(jpeg):
            raise self._refused("stored", name, f"{kept} of {len(jpeg)} bytes arrived")

    def read(self, name: str) -> bytes:
        """Return the bytes of a photo.

        Raises UnknownIdError when it is not there, StorageError when it can't be read.
        """
        path = self._path(name)
        try:
            return bytes(self._files.cat_file(path))
        except FileNotFoundError as error:
            raise UnknownIdError(
                f"the photo {name} is missing from {self.place}: restore it from a backup",
                photo=name,
            ) from error
        except Exception as error:  # each of fsspec's places raises its own
            raise self._refused("read", name, error) from error

    def has(self, name: str) -> bool:
        """Tell whether a photo is there. Raises StorageError when the place does not answer."""
        path = self._path(name)
        try:  # its own `isfile` takes a place that does not answer for one without the file
            return bool(self._files.info(path)["type"] == "file")
        except FileNotFoundError:
            return False
        except Exception as error:  # each of fsspec's places raises its own
            raise self._refused("looked for", name, error) from error

    def remove(self, name: str) -> None:
        """Delete a photo that no row names."""
        with suppress(Exception):  # a stray file does no harm, `tallytare check` lists it
            self._files.rm_file(self._path(name))

    def names(self) -> Iterator[str]:
        """Give the names of all photos."""
        return (name for name in self._all() if name.endswith(".jpg"))

    def unfinished(self) -> Iterator[str]:
        """Give the names of files whose writing was cut off."""
        return (name for name in self._all() if f"/{UNFINISHED}" in name)

    def checked(self, name: str) -> str:
        """Return a name if it is one of ours. Raises UnknownIdError when it is not."""
        return checked_name(name)

    def _all(self) -> Iterator[str]:
        try:
            found = self._files.find(self._root)
        except FileNotFoundError:  # nothing was kept yet
            return
        except Exception as error:  # each of fsspec's places raises its own
            raise StorageError(
                f"the photos at {self.place} can't be listed ({error}): check the place and its "
                "rights, then try again"
            ) from error
        for path in found:
            yield path[len(self._root) :].lstrip("/")

    def _path(self, name: str) -> str:
        return f"{self._root}/{checked_name(name)}"

    def _refused(self, done: str, name: str, said: object) -> StorageError:
        return StorageError(
            f"the photo {name} can't be {done} at {self.place} ({said}): check the place and its "
            "rights, then try again; nothing was recorded",
            photo=name,
        )
