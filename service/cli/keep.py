"""`tallytare backup`, `restore` and `move`: the store out, in again, and to another database."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Annotated

import typer

from classifier.errors import StorageError
from service.bundles.folder import BundleFolder
from service.cli.progress import bar
from service.cli.settings import read_settings
from service.keeping.manifest import Manifest
from service.keeping.usecases import (
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

app = typer.Typer()


@app.command("backup")
def backup_command(
    target: Annotated[
        Path,
        typer.Argument(metavar="FILE_OR_FOLDER", help="File to write, or a folder to put one in."),
    ],
) -> None:
    """Write the whole store, with its photos, to one file; the service may go on meanwhile.

    Exit code 0: all was written and read back; 1: it was not, or something is missing or
    damaged: a photo, or the bundle that should answer. All the rest is written then.
    """
    settings = read_settings()
    if not settings.database_url:
        _found(settings.data_dir)
    with _opened(settings) as store, bar("photo") as shown:
        path = backup(store, target, at=datetime.now(UTC), progress=shown.step)
        lost = _say_lost_bundles(store)
    manifest = read_manifest(path)
    typer.echo(
        f"{path}: {_counted(manifest)}, {path.stat().st_size:,} bytes; read back, all as it was"
    )
    for name in manifest.missing:
        typer.echo(f"FIX   photo {name} is missing from {settings.photos_place}")
    for name in manifest.damaged:
        typer.echo(
            f"FIX   photo {name} in {settings.photos_place} is damaged or can't be read; restore "
            "it from an older backup, or withdraw it"
        )
    raise typer.Exit(1 if manifest.missing or manifest.damaged or lost else 0)


@app.command("restore")
def restore_command(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that backup wrote.")],
    overwrite: Annotated[
        bool,
        typer.Option("--overwrite", help="Replace what the store holds; without it, refuse."),
    ] = False,
) -> None:
    """Bring a backup into the store: SQLite or PostgreSQL, whichever it was made from.

    Exit code 0: restored and proven equal; 1: nothing was changed, or all was restored but photos
    that were missing or damaged when the backup was made, which are named.
    """
    with _opened(read_settings()) as store, bar("photo") as shown:
        manifest = restore(store, file, overwrite=overwrite, progress=shown.step)
        place = store.log.place
        _say_lost_bundles(store)
        let_in = [each for each in store.log.list_devices() if not each.revoked]
    typer.echo(
        f"{place}: {_counted(manifest)} of {manifest.made_at[:19]} UTC; read back, all as in {file}"
    )
    if let_in:
        devices = "1 device is" if len(let_in) == 1 else f"{len(let_in)} devices are"
        typer.echo(
            f"{devices} let in as at that time, also if access was removed since: look through "
            "the page Devices"
        )
    for name in manifest.missing:
        typer.echo(f"FIX   photo {name} was missing already when the backup was made")
    for name in manifest.damaged:
        typer.echo(f"FIX   photo {name} was damaged already when the backup was made")
    raise typer.Exit(1 if manifest.missing or manifest.damaged else 0)


@app.command("move")
def move_command(
    store: Annotated[
        Path, typer.Argument(help="Data folder with a SQLite store, or its .sqlite3 file.")
    ],
    to: Annotated[
        str,
        typer.Option(
            "--to",
            metavar="URL",
            help="Empty database to move to; left out: TALLYTARE_DATABASE_URL, which keeps a "
            "password out of the list of processes.",
        ),
    ] = "",
    photos: Annotated[
        str,
        typer.Option(
            "--photos",
            metavar="FOLDER_OR_URL",
            help="Where its photos go; left out: where the settings say.",
        ),
    ] = "",
) -> None:
    """Copy a SQLite store with its photos to another database and prove the totals equal.

    Exit code 0: moved, and the proof is shown; 1: nothing was moved.
    """
    settings = read_settings()
    source, source_photos = _found(store)
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
        bar("photo") as shown,
    ):
        proof = move(from_, into, progress=shown.step)
        _say_lost_bundles(into)
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
        yield f"FIX   photo {name} was missing already"
    for name in proof.faults.damaged:
        yield f"FIX   photo {name} was damaged already and stays behind"
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


def _say_lost_bundles(store: Store) -> bool:
    """Name promoted bundles that are not here, and return whether one of them should answer."""
    answering = store.log.promoted_bundle()
    lost = store.lost_bundles()
    for name in lost:
        if name == answering:
            typer.echo(
                f"FIX   bundle {name} should answer and is not whole in {store.bundles.place}; "
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
