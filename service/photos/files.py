"""Cleaned photos on disk, under names of our own, safely there before a row names them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from classifier.errors import StorageError, UnknownIdError
from service.photos.names import checked_name, name_of
from service.synced import UNFINISHED, draft_of, make_folder_synced, sync_folder, write_synced


class PhotoFiles:
    """A folder of JPEG files; no text from a client becomes part of a path."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    @property
    def place(self) -> str:
        """Where the photos are."""
        return str(self._folder)

    def keep(self, capture_id: str, jpeg: bytes, *, sent: str) -> str:
        """Write a photo so that it survives a power cut, and return its name.

        `sent` tells what the client sent, for the name. Raises StorageError when the disk refuses.
        """
        name = name_of(capture_id, jpeg, sent=sent)
        self.put(name, jpeg)
        return name

    def put(self, name: str, jpeg: bytes) -> None:
        """Write a photo under a name that it has already, so that it survives a power cut.

        Raises StorageError when the disk refuses, UnknownIdError for a name of another kind.
        """
        path = self._path(name)
        try:
            make_folder_synced(path.parent)
            with draft_of(path) as draft:
                write_synced(draft, jpeg)
            sync_folder(path.parent)
        except OSError as error:
            raise StorageError(
                f"the photo can't be stored ({error.strerror or error}): free some space or give "
                f"the right to write to {self._folder}, then send it again; nothing was recorded",
                folder=str(self._folder),
                errno=error.errno,
            ) from error

    def read(self, name: str) -> bytes:
        """Return the bytes of a photo.

        Raises UnknownIdError when it is not there, StorageError when it can't be read.
        """
        try:
            return self._path(name).read_bytes()
        except FileNotFoundError as error:
            raise UnknownIdError(
                f"the photo {name} is missing from {self._folder}: restore it from a backup",
                photo=name,
            ) from error
        except OSError as error:
            raise StorageError(
                f"the photo {name} can't be read ({error.strerror}): check the disk", photo=name
            ) from error

    def has(self, name: str) -> bool:
        """Tell whether a photo is there.

        Raises StorageError when the disk does not say.
        """
        path = self._path(name)
        try:
            return path.is_file()
        except OSError as error:
            raise StorageError(
                f"the photo {name} can't be looked for in {self._folder} ({error.strerror}): give "
                "the right to enter the folder, or check the disk",
                photo=name,
            ) from error

    def remove(self, name: str) -> None:
        """Delete a photo that no row names."""
        _forget(self._path(name))

    def names(self) -> Iterator[str]:
        """Give the names of all photos."""
        for path in self._folder.glob("??/*.jpg"):
            yield f"{path.parent.name}/{path.name}"

    def unfinished(self) -> Iterator[str]:
        """Give the names of files whose writing was cut off."""
        for path in self._folder.glob(f"??/{UNFINISHED}*"):
            yield f"{path.parent.name}/{path.name}"

    def checked(self, name: str) -> str:
        """Return a name if it is one of ours. Raises UnknownIdError when it is not."""
        return checked_name(name)

    def _path(self, name: str) -> Path:
        return self._folder / checked_name(name)


def _forget(path: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        # A stray file does no harm and `tallytare check` lists it.
        return
