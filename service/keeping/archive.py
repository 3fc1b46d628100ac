"""One file that holds a whole store: rows as lines, photos, promoted bundles, and all digests.

A ZIP file without compression of photos. It is the same for every database, so that what was kept
from SQLite can be restored into PostgreSQL and the other way round.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path
from typing import Protocol
from zlib import error as zlib_error

from classifier.errors import BundleError, StorageError, UnknownIdError
from service.keeping.manifest import FORMAT, Manifest, as_json, from_json
from service.photos.names import PhotoStore, read_whole
from service.store.copy_log import Snapshot
from service.store.row_check import LONGEST_ROW_BYTES
from service.store.row_text import Tally, digest_lines
from service.synced import draft_of, make_folder_synced, sync_folder

_MANIFEST = "manifest.json"
_MOST_BYTES = {_MANIFEST: 256_000_000, "photos": 64_000_000, "bundles": 1_000_000_000}
"""What a part may unfold to, by what its name begins with; a deflated one may be a thousandth."""
_DAMAGE = (
    zipfile.BadZipFile,
    zlib_error,
    EOFError,
    KeyError,
    ValueError,
    TypeError,
    AttributeError,
    OSError,
    RuntimeError,
    NotImplementedError,
)


class BundlePlace(Protocol):
    """Where promoted bundles are, as plain files."""

    @property
    def place(self) -> str:
        """Where it is."""

    def read(self, name: str) -> Mapping[str, bytes]:
        """Return the files of a bundle. Raises BundleError when it is missing or damaged."""

    def put(self, name: str, content: Mapping[str, bytes]) -> None:
        """Write a bundle that is what its name says. Raises BundleError."""


def write_archive(
    path: Path,
    snapshot: Snapshot,
    photos: PhotoStore,
    bundles: BundlePlace,
    *,
    at: datetime,
    photo_done: Iterable[None],
) -> Manifest:
    """Write a snapshot, photos and bundles to a file that bears its name only once it is whole.

    Every photo is compared with its name while it is read. One that is missing or damaged is left
    out and named in the manifest, and all the rest is written; so is it with bundles, which the
    manifest does not name then. `photo_done` is advanced for each photo.

    Raises StorageError when the disk refuses.
    """
    try:
        make_folder_synced(path.parent)
        with draft_of(path) as draft:
            descriptor = os.open(draft, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "w+b") as file:
                with zipfile.ZipFile(file, "w") as archive:
                    kept = _fill_bundles(archive, snapshot, bundles)
                    manifest = _fill(archive, snapshot, photos, kept, at=at, photo_done=photo_done)
                file.flush()
                os.fsync(file.fileno())
        sync_folder(path.parent)
    except OSError as error:
        raise StorageError(
            f"the backup can't be written to {path} ({error.strerror or error}): free some space, "
            "or name another place; the store is unharmed",
            path=str(path),
        ) from error
    return manifest


def _fill(
    archive: zipfile.ZipFile,
    snapshot: Snapshot,
    photos: PhotoStore,
    bundles: Mapping[str, Mapping[str, str]],
    *,
    at: datetime,
    photo_done: Iterable[None],
) -> Manifest:
    tables = {}
    for table in snapshot.tables:
        tally = Tally()
        entry = zipfile.ZipInfo(_member(table))
        entry.compress_type = zipfile.ZIP_DEFLATED
        with archive.open(entry, "w", force_zip64=True) as out:
            for line in tally.through(snapshot.lines(table)):
                out.write(line + b"\n")
        tables[table] = tally.digest
    kept: dict[str, str] = {}
    faults: dict[str, list[str]] = {"missing": [], "damaged": []}
    done = iter(photo_done)
    for name in snapshot.photo_names():
        try:
            jpeg = read_whole(photos, name)
        except UnknownIdError:
            faults["missing"].append(name)
        except StorageError:
            faults["damaged"].append(name)
        else:
            archive.writestr(zipfile.ZipInfo(_photo(name)), jpeg)
            kept[name] = hashlib.sha256(jpeg).hexdigest()
        next(done, None)
    columns = {table: snapshot.columns(table) for table in snapshot.tables}
    manifest = Manifest(
        schema=snapshot.schema,
        made_at=at.isoformat(),
        tables=tables,
        columns=columns,
        photos=kept,
        missing=tuple(faults["missing"]),
        damaged=tuple(faults["damaged"]),
        bundles=bundles,
    )
    archive.writestr(_MANIFEST, json.dumps(as_json(manifest), indent=1))
    return manifest


def _fill_bundles(
    archive: zipfile.ZipFile, snapshot: Snapshot, bundles: BundlePlace
) -> dict[str, dict[str, str]]:
    kept: dict[str, dict[str, str]] = {}
    for name in snapshot.bundle_names():
        with suppress(BundleError):
            content = bundles.read(name)
            for file, data in content.items():
                archive.writestr(zipfile.ZipInfo(_bundle_file(name, file)), data)
            kept[name] = {file: hashlib.sha256(data).hexdigest() for file, data in content.items()}
    return kept


class Archive:
    """An archive that was opened for reading."""

    def __init__(self, path: Path, archive: zipfile.ZipFile) -> None:
        self._path = path
        self._zip = archive
        self.manifest = self._read_manifest()

    def check(self) -> None:
        """Read all of it and compare it with its manifest.

        Raises StorageError that names the first part which is damaged.
        """
        for table, expected in self.manifest.tables.items():
            if digest_lines(self.lines(table)) != expected:
                raise self._damaged(_member(table))
        for name in self.manifest.photos:
            self.photo(name)
        for name in self.manifest.bundles:
            self.bundle(name)

    def lines(self, table: str) -> Iterator[bytes]:
        """Give the rows of a table as lines. Raises StorageError for damage."""
        with self._guard(_member(table)), self._zip.open(_member(table)) as file:
            while line := file.readline(LONGEST_ROW_BYTES + 2):
                if len(line) > LONGEST_ROW_BYTES + 1:
                    raise self._damaged(_member(table))
                yield line.rstrip(b"\n")

    def photo(self, name: str) -> bytes:
        """Return a photo. Raises StorageError for damage."""
        return self._part(_photo(name), self.manifest.photos[name])

    def bundle(self, name: str) -> dict[str, bytes]:
        """Return the files of a bundle. Raises StorageError for damage."""
        files = self.manifest.bundles[name]
        return {file: self._part(_bundle_file(name, file), sha) for file, sha in files.items()}

    def _part(self, member: str, sha256: str) -> bytes:
        content = self._read(member)
        if hashlib.sha256(content).hexdigest() != sha256:
            raise self._damaged(member)
        return content

    def _read(self, member: str) -> bytes:
        most = _MOST_BYTES[member.partition("/")[0]]
        with self._guard(member), self._zip.open(member) as file:
            content = file.read(most + 1)
        if len(content) > most:
            raise self._damaged(member)
        return content

    def _read_manifest(self) -> Manifest:
        content = self._read(_MANIFEST)
        with self._guard(_MANIFEST):
            found = json.loads(content)
            if found["format"] != FORMAT:
                raise StorageError(
                    f"{self._path} has format {found['format']}, which this version of tallytare "
                    "does not know: install a newer one"
                )
            return from_json(found)

    @contextmanager
    def _guard(self, part: str) -> Iterator[None]:
        try:
            yield
        except UnknownIdError as error:
            raise self._damaged(part) from error
        except _DAMAGE as error:
            raise self._damaged(part) from error

    def _damaged(self, part: str) -> StorageError:
        return StorageError(
            f"the backup {self._path} is damaged at {part}, or was changed after it was made: "
            "nothing was restored; take an older backup, or another copy of this one",
            path=str(self._path),
            part=part,
        )


@contextmanager
def open_archive(path: Path) -> Iterator[Archive]:
    """Give an archive for reading.

    Raises StorageError when the file is missing or no whole archive.
    """
    try:
        # Ours to close: what is read half-way would keep the ZIP's own open.
        file = path.open("rb")
    except FileNotFoundError as error:
        raise StorageError(f"there is no backup {path}: name the file that backup wrote") from error
    except OSError as error:
        raise StorageError(f"the backup {path} can't be read ({error.strerror})") from error
    with file:
        try:
            opened = zipfile.ZipFile(file)
        except _DAMAGE as error:
            raise StorageError(
                f"{path} is no backup, or was cut off: nothing was restored; take another one",
                path=str(path),
            ) from error
        with opened as archive:
            yield Archive(path, archive)


def _member(table: str) -> str:
    return f"tables/{table}.jsonl"


def _photo(name: str) -> str:
    return f"photos/{name}"


def _bundle_file(name: str, file: str) -> str:
    return f"bundles/{name}/{file}"
