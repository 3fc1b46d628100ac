"""Backups, restoring them, and moving a store to another database, each proven before it counts."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from functools import partial
from pathlib import Path

from classifier.errors import BundleError, ConflictError, StorageError, TallytareError
from service.keeping.archive import Archive, BundlePlace, open_archive, write_archive
from service.keeping.manifest import Manifest
from service.photos.names import Faults, PhotoStore, faults_of, is_whole
from service.store.copy_log import Lines, Snapshot
from service.store.log import Log
from service.store.row_text import TableDigest, completed, digest_lines, stored_table
from service.store.schema import HEAD, OLDER

Progress = Callable[[], None]


@dataclass(frozen=True, slots=True)
class Store:
    """A log, the place of its photos and that of promoted bundles: all that has to be kept."""

    log: Log
    photos: PhotoStore
    bundles: BundlePlace

    def lost_bundles(self) -> tuple[str, ...]:
        """Return the promoted bundles that are missing or damaged here."""
        with self.log.snapshot() as snapshot:
            names = snapshot.bundle_names()
        return tuple(name for name in names if _bundle(self, name) is None)


@dataclass(frozen=True, slots=True)
class SortTotals:
    """What the fold of one sort's rows gives: entries and pieces that count, grams weighed."""

    items: int
    objects: int
    grams: Decimal


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a proof."""

    place: str
    tables: dict[str, TableDigest]
    photos: int
    photo_bytes: int
    photos_sha256: str
    bundles: dict[str, str]
    """SHA-256 of the content of each promoted bundle that the old side could give."""
    sorts: dict[str, SortTotals]


@dataclass(frozen=True, slots=True)
class Proof:
    """What was read from the old store and, afterwards, from the new one.

    Photos with faults in the old store were left there.
    """

    old: Side
    new: Side
    faults: Faults

    @property
    def holds(self) -> bool:
        """Whether both sides are equal in all but their place."""
        return _what(self.old) == _what(self.new)


def backup(store: Store, target: Path, *, at: datetime, progress: Progress | None = None) -> Path:
    """Write the store to a file while others go on entering, and return the file.

    A folder gets a file named after the time. Everything is as it stood at one moment. Photos
    that are missing or damaged are named in the archive's manifest. Raises StorageError.
    """
    path = target
    if target.is_dir():
        path = target / f"tallytare-{at.strftime('%Y%m%d-%H%M%S')}.zip"
    if path.exists():
        raise StorageError(
            f"{path} is there already: nothing was written; name a new file, or a folder"
        )
    with store.log.snapshot() as snapshot:
        write_archive(
            path, snapshot, store.photos, store.bundles, at=at, photo_done=_ticks(progress)
        )
    return path


def read_manifest(path: Path) -> Manifest:
    """Check a backup to its last byte and return what it holds. Raises StorageError."""
    with open_archive(path) as archive:
        archive.check()
        return archive.manifest


def restore(
    store: Store, path: Path, *, overwrite: bool, progress: Progress | None = None
) -> Manifest:
    """Bring a backup into a store: all rows or none, photos and bundles first, all checked before.

    Return what came: photos that were damaged when the backup was made are named as damaged, not
    brought, also where the version that made it did not notice.

    Raises StorageError for a damaged backup or a newer schema; ConflictError when the store holds
    something and may not be overwritten; BundleError when a bundle can't be written.
    """
    with open_archive(path) as archive:
        manifest = archive.manifest
        if manifest.schema not in (*OLDER, HEAD):
            raise StorageError(
                f"{path} was made with schema {manifest.schema}, this version has {HEAD}: "
                "restore it with the version that made it, then open the store with this one",
                found=manifest.schema,
            )
        archive.check()
        if not overwrite:
            _refuse_what_holds(store, "name an empty one, or add --overwrite")
        damaged = []
        for name in manifest.photos:
            jpeg = archive.photo(name)
            if is_whole(name, jpeg):
                _put(store.photos, name, jpeg)
            else:
                damaged.append(name)
            if progress is not None:
                progress()
        for name in manifest.bundles:
            store.bundles.put(name, archive.bundle(name))
        rows = (
            (archive.lines, manifest.tables) if manifest.schema == HEAD else _as_of_today(archive)
        )
        store.log.together(partial(_load, store.log, *rows, overwrite=overwrite))
    return replace(
        manifest,
        photos={name: sha for name, sha in manifest.photos.items() if name not in damaged},
        damaged=(*manifest.damaged, *damaged),
    )


def _load(
    log: Log, lines: Lines, expected: Mapping[str, TableDigest], *, overwrite: bool
) -> dict[str, TableDigest]:
    """Load rows and add up every sort, so that no row is kept that pages could not read."""
    loaded = log.load(lines, expected, overwrite=overwrite)
    try:
        for sort in log.list_sorts():
            sort_totals(log, sort.id)
    except (TallytareError, ValueError, TypeError, KeyError, ArithmeticError) as error:
        raise StorageError(
            f"the rows can't be added up ({error}): they were changed by hand; nothing was "
            "changed; take another backup"
        ) from error
    return loaded


def _as_of_today(archive: Archive) -> tuple[Lines, Mapping[str, TableDigest]]:
    """Return the rows of an older archive in the tables of today, and their digests."""
    columns = archive.manifest.columns

    def lines(name: str) -> Iterable[bytes]:
        if name not in columns:
            return ()
        return completed(stored_table(name), columns[name], archive.lines(name))

    return lines, {name: digest_lines(lines(name)) for name in Snapshot.tables}


def move(old: Store, new: Store, *, progress: Progress | None = None) -> Proof:
    """Copy a store into an empty one and prove both equal; the old one stays as it is.

    While it runs nobody can write to an old SQLite store. Photos are copied first, those that are
    there are left: a move that was cut off is simply started again. Rows come all or none.
    Promoted bundles come too, less those that are missing or damaged.

    Raises ConflictError when the new store holds something, StorageError when they differ,
    BundleError when a bundle can't be written.
    """
    _refuse_what_holds(new, "name an empty one")

    def work(snapshot: Snapshot) -> Proof:
        tables = snapshot.digests()
        names = snapshot.photo_names()
        faults = faults_of(old.photos, names)
        there = tuple(name for name in names if name not in {*faults.missing, *faults.damaged})
        for name in there:
            if old.photos.place != new.photos.place:
                _put(new.photos, name, old.photos.read(name))
            if progress is not None:
                progress()
        bundles = {}
        for name in snapshot.bundle_names():
            content = _bundle(old, name)
            if content is not None:
                bundles[name] = _digest_of(content)
                if old.bundles.place != new.bundles.place:
                    new.bundles.put(name, content)
        loaded = new.log.load(snapshot.lines, tables, overwrite=False)
        return Proof(
            _side(old, tables, there, bundles),
            _side(new, loaded, there, _digests(new, bundles)),
            faults,
        )

    proof = old.log.hold_still(work)
    if not proof.holds:
        raise StorageError(
            "the new store gives other totals than the old one: do not use it; "
            "empty it and move again",
            old=old.log.place,
            new=new.log.place,
        )
    return proof


def _refuse_what_holds(store: Store, fix: str) -> None:
    if rows := store.log.rows_in_all():
        raise ConflictError(
            f"the store {store.log.place} holds {rows} rows already: nothing was changed; {fix}",
            rows=rows,
        )


def _put(photos: PhotoStore, name: str, jpeg: bytes) -> None:
    """Write a photo unless it is there; another content under the name is replaced."""
    if not (photos.has(name) and photos.read(name) == jpeg):
        photos.put(name, jpeg)


def _side(
    store: Store,
    tables: dict[str, TableDigest],
    names: tuple[str, ...],
    bundles: dict[str, str],
) -> Side:
    digest = hashlib.sha256()
    size = 0
    for name in names:
        jpeg = store.photos.read(name)
        size += len(jpeg)
        digest.update(name.encode())
        digest.update(hashlib.sha256(jpeg).digest())
    sorts = {sort.id: sort_totals(store.log, sort.id) for sort in store.log.list_sorts()}
    return Side(store.log.place, tables, len(names), size, digest.hexdigest(), bundles, sorts)


def _digests(store: Store, names: Iterable[str]) -> dict[str, str]:
    """Digest the bundles of these names, less those that are missing or damaged."""
    found = {name: _bundle(store, name) for name in names}
    return {name: _digest_of(content) for name, content in found.items() if content is not None}


def _bundle(store: Store, name: str) -> Mapping[str, bytes] | None:
    try:
        return store.bundles.read(name)
    except BundleError:
        return None


def _digest_of(content: Mapping[str, bytes]) -> str:
    digest = hashlib.sha256()
    for name, data in sorted(content.items()):
        digest.update(name.encode() + b"\0" + hashlib.sha256(data).digest())
    return digest.hexdigest()


def sort_totals(log: Log, sort_id: str) -> SortTotals:
    """Fold one sort."""
    rows = log.sort_rows(sort_id)
    ledger = rows.ledger()
    grams = [batch.mass.value_g for batch in ledger.batches if batch.mass is not None]
    return SortTotals(
        items=len(ledger.items),
        objects=sum(item.count for item in ledger.items),
        grams=sum(grams, Decimal(0)),
    )


def _what(side: Side) -> tuple[object, ...]:
    photos = side.photos, side.photo_bytes, side.photos_sha256
    return side.tables, photos, side.bundles, side.sorts


def _ticks(progress: Progress | None) -> Iterator[None]:
    while True:
        if progress is not None:
            progress()
        yield
