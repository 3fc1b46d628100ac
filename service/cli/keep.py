"""`tallytare backup`, `restore` and `move`: the store out, in again, and into another house."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import typer
from tqdm import tqdm

from classifier.errors import StorageError
from service.bundles.folder import BundleFolder
from service.cli.progress import PATIENCE_S
from service.keeping.manifest import Manifest
from service.keeping.usecases import (
    Progress,
    Proof,
    Side,
    Store,
    backup,
    move,
    read_manifest,
    restore,
)
from service.photos.places import open_photos
from service.settings import Settings
from service.store.log import Log
from service.store.schema import open_database


def run_backup(settings: Settings, target: Path) -> bool:
    """Write a backup, read it back to its last byte, and return whether nothing needs mending.

    A photo that is missing or damaged does, and a lost bundle that should answer.

    Raises StorageError when there is no store yet, or the disk refuses.
    """
    if not settings.database_url:
        _found(settings.data_dir)
    with _opened(settings) as store, _photo_bar() as step:
        path = backup(store, target, at=datetime.now(UTC), progress=step)
        lost = _tell_lost_bundles(store)
    manifest = read_manifest(path)
    typer.echo(
        f"{path}: {_counted(manifest)}, {path.stat().st_size:,} bytes; read back, all as it was"
    )
    for name in manifest.missing:
        typer.echo(f"MEND  photo {name} is missing from {settings.photos_place}")
    for name in manifest.damaged:
        typer.echo(
            f"MEND  photo {name} in {settings.photos_place} is damaged or can't be read; restore "
            "it from an older backup, or withdraw it"
        )
    return not (manifest.missing or manifest.damaged or lost)


def run_restore(settings: Settings, file: Path, *, overwrite: bool) -> bool:
    """Restore a backup, say what came, and return whether the backup held every photo."""
    with _opened(settings) as store, _photo_bar() as step:
        manifest = restore(store, file, overwrite=overwrite, progress=step)
        place = store.log.place
        _tell_lost_bundles(store)
        let_in = [each for each in store.log.list_devices() if not each.revoked]
    typer.echo(
        f"{place}: {_counted(manifest)} of {manifest.made_at[:19]} UTC; read back, all as in {file}"
    )
    if let_in:
        devices = "1 device is" if len(let_in) == 1 else f"{len(let_in)} devices are"
        typer.echo(
            f"{devices} let in as at that time, also if shut out since: look through the page "
            "Devices"
        )
    for name in manifest.missing:
        typer.echo(f"MEND  photo {name} was missing already when the backup was made")
    for name in manifest.damaged:
        typer.echo(f"MEND  photo {name} was damaged already when the backup was made")
    return not (manifest.missing or manifest.damaged)


def run_move(settings: Settings, old: Path, *, to: str, photos: str) -> None:
    """Move a SQLite store, name promoted bundles that are lost, and show the proof.

    Raises StorageError when there is no such store, or no database to move to.
    """
    source, source_photos = _found(old)
    url = to or settings.database_url
    if not url:
        raise StorageError(
            "there is no database to move to: give --to postgresql://user@host/database, or set "
            "TALLYTARE_DATABASE_URL"
        )
    beside = _folder_of(url)
    place = photos or settings.photos or str((beside or settings.data_dir) / "photos")
    here = source.parent / "bundles"
    there = beside / "bundles" if beside else settings.bundles_dir
    with (
        _opened_at(settings, source, str(source_photos), here) as from_,
        _opened_at(settings, url, place, there) as into,
        _photo_bar() as step,
    ):
        proof = move(from_, into, progress=step)
        _tell_lost_bundles(into)
    for line in proof_lines(proof):
        typer.echo(line)


def proof_lines(proof: Proof) -> Iterator[str]:
    """Give the proof as a table: what both stores hold, each read from its own database."""
    old, new = proof.old, proof.new
    yield f"from {old.place}"
    yield f"to   {new.place}"
    yield f"{'table':<20}{'rows':>10}{'rows there':>12}  SHA-256 of the rows here, and there"
    for name, digest in old.tables.items():
        there = new.tables[name]
        yield (
            f"{name:<20}{digest.rows:>10}{there.rows:>12}  "
            f"{digest.sha256[:12]} {there.sha256[:12]} {_equal(digest, there)}"
        )
    yield (
        f"{'photos':<20}{old.photos:>10}{new.photos:>12}  "
        f"{old.photos_sha256[:12]} {new.photos_sha256[:12]} "
        f"{_equal(old.photos_sha256, new.photos_sha256)} ({new.photo_bytes:,} bytes)"
    )
    yield (
        f"{'promoted bundles':<20}{len(old.bundles):>10}{len(new.bundles):>12}  "
        f"{_equal(old.bundles, new.bundles)}"
    )
    yield f"{'totals by sort':<20}{len(old.sorts):>10}{len(new.sorts):>12}  {_totals(old)}"
    yield f"{'':<42}  {_totals(new)} {_equal(old.sorts, new.sorts)}"
    for name in proof.faults.missing:
        yield f"MEND  photo {name} was missing already"
    for name in proof.faults.damaged:
        yield f"MEND  photo {name} was damaged already and stays behind"
    yield "Moved; the old store is as it was. Stop what still runs on it."


def _equal(one: object, other: object) -> str:
    return "equal" if one == other else "DIFFERENT"


def _totals(side: Side) -> str:
    sorts = side.sorts.values()
    grams = sum((each.grams for each in sorts), Decimal(0))
    return (
        f"{sum(each.items for each in sorts)} items, {sum(each.objects for each in sorts)} "
        f"objects, {grams / 1000:.6f} kg"
    )


def _found(old: Path) -> tuple[Path, Path]:
    path = old / "tallytare.sqlite3" if old.is_dir() else old
    if not path.is_file():
        raise StorageError(
            f"there is no SQLite store at {old}: name the data folder that holds one "
            "(TALLYTARE_DATA_DIR), or a .sqlite3 file"
        )
    return path.resolve(), path.resolve().parent / "photos"


def _folder_of(url: str) -> Path | None:
    """Return the folder of a SQLite file; None for other databases."""
    path = url.removeprefix("sqlite:///")
    return None if path == url else Path(path).parent


def _counted(manifest: Manifest) -> str:
    counts = [(manifest.rows, "row"), (len(manifest.photos), "photo")]
    if manifest.bundles:
        counts.append((len(manifest.bundles), "promoted bundle"))
    return ", ".join(f"{count} {what}{'' if count == 1 else 's'}" for count, what in counts)


def _tell_lost_bundles(store: Store) -> bool:
    """Name promoted bundles that are not here, and return whether one of them should answer."""
    answering = store.log.promoted_bundle()
    lost = store.lost_bundles()
    for name in lost:
        if name == answering:
            typer.echo(
                f"MEND  bundle {name} should answer and is not whole in {store.bundles.place}; "
                "'tallytare bundles promote FOLDER' brings it back"
            )
        else:
            typer.echo(f"bundle {name}, promoted once, is not whole in {store.bundles.place}")
    return answering in lost


@contextmanager
def _opened(settings: Settings) -> Iterator[Store]:
    with _opened_at(
        settings, settings.store_place, settings.photos_place, settings.bundles_dir
    ) as store:
        yield store


@contextmanager
def _opened_at(
    settings: Settings, database: str | Path, photos: str, bundles: Path
) -> Iterator[Store]:
    place = open_photos(photos)
    log = Log(open_database(database, busy_timeout_s=settings.busy_timeout_s))
    store = Store(log, place, BundleFolder(bundles))
    try:
        yield store
    finally:
        store.log.close()


@contextmanager
def _photo_bar() -> Iterator[Progress]:
    """Give what is to be called for each photo: a bar shows how many were."""
    with tqdm(unit="photo", delay=PATIENCE_S, leave=False) as bar:

        def step() -> None:
            bar.update()

        yield step
