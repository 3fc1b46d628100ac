"""One file that holds a whole store: rows as lines, photos, and a manifest with all digests.

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
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from uuid import uuid4
from zlib import error as zlib_error

from classifier.domain.errors import StorageError, UnknownIdError
from service.images.names import PhotoStore, checked_name
from service.store.copy_log import Snapshot
from service.store.row_text import TableDigest, Tally

FORMAT = 1
_MANIFEST = "manifest.json"
_DAMAGE = (
    zipfile.BadZipFile,
    zlib_error,
    EOFError,
    KeyError,
    ValueError,
    TypeError,
    OSError,
    RuntimeError,
    NotImplementedError,
)


@dataclass(frozen=True, slots=True)
class Manifest:
    """What an archive holds; photos map a name to the SHA-256 of its content."""

    schema: str
    made_at: str
    tables: Mapping[str, TableDigest]
    columns: Mapping[str, tuple[str, ...]]
    photos: Mapping[str, str]
    missing: tuple[str, ...]

    @property
    def rows(self) -> int:
        """Rows of all tables together."""
        return sum(digest.rows for digest in self.tables.values())


def write_archive(
    path: Path, snapshot: Snapshot, photos: PhotoStore, *, at: datetime, photo_done: Iterable[None]
) -> Manifest:
    """Write a snapshot and its photos to a file that bears its name only once it is whole.

    `photo_done` is advanced for each photo. Raises StorageError when the disk refuses.
    """
    unfinished = path.with_name(f".unfinished-{uuid4()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(unfinished, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w+b") as file:
            with zipfile.ZipFile(file, "w") as archive:
                manifest = _fill(archive, snapshot, photos, at=at, photo_done=photo_done)
            file.flush()
            os.fsync(file.fileno())
        os.replace(unfinished, path)
    except OSError as error:
        raise StorageError(
            f"the backup can't be written to {path} ({error.strerror or error}): free some space, "
            "or name another place; the store is unharmed",
            path=str(path),
        ) from error
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
    return manifest


def _fill(
    archive: zipfile.ZipFile,
    snapshot: Snapshot,
    photos: PhotoStore,
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
    kept, missing = {}, []
    done = iter(photo_done)
    for name in snapshot.photo_names():
        try:
            jpeg = photos.read(name)
        except UnknownIdError:
            missing.append(name)
        else:
            archive.writestr(zipfile.ZipInfo(_photo(name)), jpeg)
            kept[name] = hashlib.sha256(jpeg).hexdigest()
        next(done, None)
    columns = {table: snapshot.columns(table) for table in snapshot.tables}
    manifest = Manifest(snapshot.schema, at.isoformat(), tables, columns, kept, tuple(missing))
    archive.writestr(_MANIFEST, json.dumps(_as_json(manifest), indent=1))
    return manifest


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
            tally = Tally()
            for _ in tally.through(self.lines(table)):
                pass
            if tally.digest != expected:
                raise self._damaged(_member(table))
        for name in self.manifest.photos:
            self.photo(name)

    def lines(self, table: str) -> Iterator[bytes]:
        """Give the rows of a table as lines. Raises StorageError for damage."""
        with self._guard(_member(table)), self._zip.open(_member(table)) as file:
            for line in file:
                yield line.rstrip(b"\n")

    def photo(self, name: str) -> bytes:
        """Return a photo. Raises StorageError for damage."""
        with self._guard(_photo(name)):
            jpeg = self._zip.read(_photo(name))
        if hashlib.sha256(jpeg).hexdigest() != self.manifest.photos[name]:
            raise self._damaged(_photo(name))
        return jpeg

    def _read_manifest(self) -> Manifest:
        with self._guard(_MANIFEST):
            found = json.loads(self._zip.read(_MANIFEST))
            if found["format"] != FORMAT:
                raise StorageError(
                    f"{self._path} has format {found['format']}, which this version of tallytare "
                    "does not know: install a newer one"
                )
            return Manifest(
                schema=str(found["schema"]),
                made_at=str(found["made_at"]),
                tables={
                    name: TableDigest(int(each["rows"]), str(each["sha256"]))
                    for name, each in found["tables"].items()
                },
                columns={name: tuple(each["columns"]) for name, each in found["tables"].items()},
                photos={checked_name(name): str(sha) for name, sha in found["photos"].items()},
                missing=tuple(found["missing_photos"]),
            )

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
            f"the backup {self._path} is damaged at {part}: nothing was restored; "
            "take an older backup, or another copy of this one",
            path=str(self._path),
            part=part,
        )


@contextmanager
def open_archive(path: Path) -> Iterator[Archive]:
    """Give an archive for reading.

    Raises StorageError when the file is missing or no whole archive.
    """
    try:
        opened = zipfile.ZipFile(path)
    except FileNotFoundError as error:
        raise StorageError(f"there is no backup {path}: name the file that backup wrote") from error
    except OSError as error:
        raise StorageError(f"the backup {path} can't be read ({error.strerror})") from error
    except _DAMAGE as error:
        raise StorageError(
            f"{path} is no backup, or was cut off: nothing was restored; take another one",
            path=str(path),
        ) from error
    with opened as archive:
        yield Archive(path, archive)


def _as_json(manifest: Manifest) -> dict[str, object]:
    return {
        "format": FORMAT,
        "schema": manifest.schema,
        "made_at": manifest.made_at,
        "tables": {
            name: {
                "rows": digest.rows,
                "sha256": digest.sha256,
                "columns": manifest.columns[name],
            }
            for name, digest in manifest.tables.items()
        },
        "photos": manifest.photos,
        "missing_photos": manifest.missing,
    }


def _member(table: str) -> str:
    return f"tables/{table}.jsonl"


def _photo(name: str) -> str:
    return f"photos/{name}"
