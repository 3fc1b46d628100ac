"""Backup, restore and move: proven equal, across both engines, or nothing is changed."""

from __future__ import annotations

import hashlib
import json
import shutil
import threading
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from importlib import import_module
from pathlib import Path

import pytest
from sqlalchemy import Connection, text

from classifier.errors import ConflictError, StorageError
from classifier.log.records import SortInfo
from classifier.report.as_json import report_json
from service.bundles.folder import BundleFolder
from service.examples import reviews
from service.keeping import upkeep
from service.keeping import usecases as keeping
from service.keeping.usecases import Store
from service.model_cache import LoadedModel
from service.photos.files import PhotoFiles
from service.photos.names import Faults
from service.piles import usecases as piles
from service.reports import usecases as reports
from service.services import Services
from service.settings import Settings
from service.sorting import items
from service.sorts import usecases as sorts
from service.store.log import Log
from service.store.row_text import STORED_TABLES
from service.store.schema import OLDER, open_database
from service.wiring import build_services
from tests.fakes import FakePredictor, model_record, new_id
from tests.postgres import PostgresServer
from tests.store.entries import correct_details, counts, enter, start, take, weigh

NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)


def _fill(services: Services, sort: SortInfo) -> None:
    """Enter something into most tables, with what databases treat differently."""
    for n in range(3):
        photo = take(services, sort, shade=40 + n)
        enter(services, sort, capture_id=photo.id, note='Ünïcode 🥫 "quoted"\nline', count=2)
    wrong = enter(services, sort, "food", facts={"empty": "yes"}).item
    items.correct(services, item_id=wrong.id, change_id=new_id(), category="garden", count=7)
    gone = enter(services, sort, "food").item
    items.undo(services, item_id=gone.id, change_id=new_id(), reason="dropped")
    weigh(services, sort, gross="1.20", tare="0.250", tare_resolution="0.005")
    back = weigh(services, sort, "garden").weighing
    piles.void_weighing(services, weighing_id=back.id, void_id=new_id(), reason="wrong bag")
    piles.add_tare(services, tare_id=new_id(), name="Tub", weight="80.0", unit="g", resolution="5")
    correct_details(
        services, sort, name='Ünïcode 🥫 "quoted"', sorted_on=date(2026, 4, 30), days=14
    )
    closed = start(services, name="Second", sorters=("Ada", "Ben"))
    sorts.close_sort(services, closed.id, event_id=new_id())


@pytest.fixture
def store(services: Services, sort: SortInfo) -> Store:
    """Return a store with something in it, on the engine of the test."""
    _fill(services, sort)
    return _of(services)


def test_a_withdrawn_photo_is_not_missed(
    services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    """Nor is its file in the backup, should deleting it have been cut off."""
    kept, gone = (take(services, sort, shade=shade) for shade in (40, 90))
    jpeg = services.photos.read(str(gone.photo_name))
    reviews.withdraw(services, request_id=new_id(), capture_ids=[gone.id])
    for _ in range(2):
        path = keeping.backup(_of(services), tmp_path / f"{new_id()}.zip", at=NOW)
        manifest = keeping.read_manifest(path)
        assert (tuple(manifest.photos), manifest.missing) == ((kept.photo_name,), ())
        services.photos.put(str(gone.photo_name), jpeg)


@pytest.fixture(params=["sqlite", "postgresql"])
def other(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Settings]:
    """Return the settings of an empty store on either engine."""
    folder = tmp_path / "other"
    if request.param == "sqlite":
        yield Settings(data_dir=folder)
        return
    server: PostgresServer = request.getfixturevalue("postgres")
    name = server.new_database(request.getfixturevalue("empty_postgres"))
    yield Settings(data_dir=folder, database_url=server.url(name))
    server.drop(name)


@contextmanager
def _opened(settings: Settings) -> Iterator[Services]:
    services = build_services(settings, model=LoadedModel(FakePredictor(), model_record(), ""))
    yield services
    services.close()


def _of(services: Services) -> Store:
    return Store(services.log, services.photos, BundleFolder(services.settings.bundles_dir))


def _same(services: Services, original: Services) -> None:
    """Compare everything that a person could read, then enter more into the copy."""
    listed = services.log.list_sorts()
    assert listed == original.log.list_sorts()
    for sort in listed:
        assert report_json(reports.report(services, sort.id)) == report_json(
            reports.report(original, sort.id)
        )
        assert items.list_items(services, sort.id) == items.list_items(original, sort.id)
    found = upkeep.check_store(services)
    assert (found.ok, found.orphan_photos) == (True, ())
    before = counts(services, listed[-1])
    enter(services, listed[-1], "food", count=5)
    take(services, listed[-1])
    assert counts(services, listed[-1]) == {**before, "food": before.get("food", 0) + 5}


@pytest.mark.sqlite_only
@pytest.mark.parametrize("by", ["backup", "move"])
def test_a_nul_that_was_kept_before_it_was_refused(
    store: Store, services: Services, other: Settings, tmp_path: Path, by: str
) -> None:
    """It goes along into SQLite; PostgreSQL can't hold it, so its row is named."""
    nul = text("UPDATE tares SET name = name || char(0) || 'x'")
    services.log._database.write(lambda connection: connection.execute(nul))
    (seq,) = services.log._database.write(
        lambda connection: connection.scalars(text("SELECT seq FROM tares")).all()
    )
    path = keeping.backup(store, tmp_path, at=NOW)
    with _opened(other) as copy:

        def bring() -> None:
            if by == "backup":
                keeping.restore(_of(copy), path, overwrite=False)
            else:
                keeping.move(store, _of(copy))

        if other.database_url:
            with pytest.raises(StorageError, match=rf"in the table tares, row seq = {seq}, "):
                bring()
            assert copy.log.rows_in_all() == 0
        else:
            bring()
            assert [tare.name for tare in copy.log.list_tares()] == ["Tub\0x"]


@pytest.mark.sqlite_only
def test_half_of_a_pair_comes_into_neither_engine(store: Store, other: Settings) -> None:
    """No store ever kept one: these rows were made by hand."""
    with store.log.snapshot() as snapshot, _opened(other) as copy:
        tables = snapshot.digests()

        def lines(table: str) -> list[bytes]:
            return [line.replace(b'"Tub"', b'"\\ud800"') for line in snapshot.lines(table)]

        with pytest.raises(StorageError, match="in the table tares, row seq"):
            copy.log.load(lines, tables, overwrite=False)
        assert copy.log.rows_in_all() == 0


def test_a_backup_is_restored(
    store: Store, services: Services, other: Settings, tmp_path: Path
) -> None:
    """From either engine into either: the same reports, and entering goes on."""
    path = keeping.backup(store, tmp_path, at=NOW)
    assert path.name == "tallytare-20260501-120000.zip"
    assert path.stat().st_mode & 0o777 == 0o600
    assert list(tmp_path.glob(".unfinished*")) == []
    with _opened(other) as copy:
        manifest = keeping.restore(_of(copy), path, overwrite=False)
        assert (len(manifest.photos), manifest.missing) == (3, ())
        _same(copy, services)


_0002 = import_module("service.store.migrations.versions.0002_studies_examples_devices")
LACKING: dict[str, dict[str, tuple[str, ...]]] = {
    "0001": {"weighings": ("load",), "captures": _0002.CAPTURE_COLUMNS},
    "0002": {"weighings": ("load",)},
}
"""The columns that tables lacked, by schema."""
LATER_TABLES: dict[str, tuple[str, ...]] = {
    "0001": (*_0002.TABLES, "sort_corrections"),
    "0002": ("sort_corrections",),
}


def _as_of(schema: str, path: Path, target: Path) -> Path:
    """Write a backup as a program of that schema made it: without what came later."""
    with zipfile.ZipFile(path) as whole, zipfile.ZipFile(target, "w") as older:
        manifest = json.loads(whole.read("manifest.json"))
        manifest["schema"] = schema
        for table, lacking in LACKING[schema].items():
            columns = manifest["tables"][table]["columns"]
            rows = map(json.loads, whole.read(f"tables/{table}.jsonl").splitlines())
            kept = [name for name in columns if name not in lacking]
            lines = [
                json.dumps(
                    [dict(zip(columns, row, strict=True))[name] for name in kept],
                    ensure_ascii=False,
                    separators=(",", ":"),
                ).encode()
                + b"\n"
                for row in rows
            ]
            digest = hashlib.sha256(b"".join(lines)).hexdigest()
            manifest["tables"][table] |= {"columns": kept, "sha256": digest}
            older.writestr(f"tables/{table}.jsonl", b"".join(lines))
        later = LATER_TABLES[schema]
        for table in later:
            del manifest["tables"][table]
        gone = {"manifest.json", *(f"tables/{table}.jsonl" for table in (*LACKING[schema], *later))}
        for name in whole.namelist():
            if name not in gone:
                older.writestr(name, whole.read(name))
        older.writestr("manifest.json", json.dumps(manifest))
    return target


@pytest.mark.parametrize("schema", OLDER)
def test_a_backup_of_an_older_version_is_restored(
    services: Services, sort: SortInfo, other: Settings, tmp_path: Path, schema: str
) -> None:
    """What it lacks gets its default, such as the first load; it is proven as any other."""
    enter(services, sort, capture_id=take(services, sort).id, note="Ünïcode 🥫", count=2)
    weigh(services, sort, gross="1.20", tare="0.250")
    whole = keeping.backup(_of(services), tmp_path, at=NOW)
    path = _as_of(schema, whole, tmp_path / "older.zip")
    with _opened(other) as copy:
        keeping.restore(_of(copy), path, overwrite=False)
        _same(copy, services)


def test_a_move_is_proven(store: Store, services: Services, other: Settings) -> None:
    """Rows, photos and the totals of each sort are read from both stores and equal."""
    with _opened(other) as copy:
        proof = keeping.move(store, _of(copy))
        assert proof.holds
        assert proof.old.tables["items"].rows == 5
        assert proof.old.place != proof.new.place
        assert (proof.new.photos, proof.faults) == (3, Faults((), ()))
        assert len(proof.new.sorts) == 2
        assert sum(each.objects for each in proof.new.sorts.values()) == 13
        _same(copy, services)
        with pytest.raises(ConflictError, match=r"holds \d+ rows already"):
            keeping.move(store, _of(copy))


def test_a_store_that_holds_something_is_not_overwritten_unasked(
    store: Store, other: Settings, tmp_path: Path
) -> None:
    """Refused without a trace; when asked to, all that was there is replaced."""
    path = keeping.backup(store, tmp_path / "a.zip", at=NOW)
    with _opened(other) as copy:
        mine = start(copy, name="Mine")
        with pytest.raises(ConflictError, match="nothing was changed"):
            keeping.restore(_of(copy), path, overwrite=False)
        assert [each.name for each in copy.log.list_sorts()] == ["Mine"]
        assert list(copy.photos.names()) == []
        keeping.restore(_of(copy), path, overwrite=True)
        assert mine.id not in {each.id for each in copy.log.list_sorts()}
        enter(copy, copy.log.list_sorts()[-1])


def test_a_backup_under_writing_is_of_one_moment(
    services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    """Three stations go on; every photo of the backup is there and no row hangs loose."""
    stop = threading.Event()
    entered: list[str] = []
    failed: list[BaseException] = []

    def station(number: int) -> None:
        try:
            while not stop.is_set():
                photo = take(services, sort, shade=number * 60)
                entered.append(enter(services, sort, capture_id=photo.id).item.id)
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=station, args=(n,)) for n in range(3)]
    for thread in threads:
        thread.start()
    store = _of(services)
    paths = []
    for n in range(3):
        before = len(entered)
        while len(entered) < before + 5 and not failed:
            stop.wait(0.01)
        known = set(entered)
        paths.append((known, keeping.backup(store, tmp_path / f"{n}.zip", at=NOW)))
    stop.set()
    for thread in threads:
        thread.join()
    assert failed == []
    for n, (known, path) in enumerate(paths):
        with _opened(Settings(data_dir=tmp_path / f"copy{n}")) as copy:
            keeping.restore(_of(copy), path, overwrite=False)
            ids = {each.first.item.id for each in items.list_items(copy, sort.id)}
            assert known <= ids
            assert upkeep.check_store(copy).ok


@pytest.mark.sqlite_only
def test_a_backup_is_read_to_its_end_before_anything_is_written(
    store: Store, tmp_path: Path
) -> None:
    """The last photo is damaged: the ones before it are not put there either."""
    path = keeping.backup(store, tmp_path / "whole.zip", at=NOW)
    last = list(keeping.read_manifest(path).photos)[-1]
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(tmp_path / "bad.zip", "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, b"something else" if name.endswith(last) else content)
    with _opened(Settings(data_dir=tmp_path / "empty")) as copy:
        with pytest.raises(StorageError, match="is damaged at photos/"):
            keeping.restore(_of(copy), tmp_path / "bad.zip", overwrite=False)
        assert list(copy.photos.names()) == []


@pytest.mark.sqlite_only
def test_a_damaged_backup_changes_nothing(store: Store, tmp_path: Path) -> None:
    """A byte anywhere in it, or an end that is missing: said, and the store stays empty."""
    path = keeping.backup(store, tmp_path / "a.zip", at=NOW)
    whole = path.read_bytes()
    damaged = tmp_path / "damaged.zip"
    with _opened(Settings(data_dir=tmp_path / "copy")) as copy:
        said: list[str] = []
        for at in range(0, len(whole), max(1, len(whole) // 120)):
            changed = bytearray(whole)
            changed[at] ^= 0xFF
            damaged.write_bytes(changed)
            try:
                keeping.restore(_of(copy), damaged, overwrite=False)
            except StorageError as error:
                said.append(error.message)
            else:  # a byte that no content depends on, such as a time in the archive's own list
                keeping.restore(_of(copy), path, overwrite=True)
                copy.log._database.write(_empty)
            assert copy.log.rows_in_all() == 0
        assert len(said) > 100
        assert all("is damaged at" in each or "is no backup" in each for each in said)
        for end in (0, 10, len(whole) // 2, len(whole) - 1):
            damaged.write_bytes(whole[:end])
            with pytest.raises(StorageError, match="nothing was restored"):
                keeping.restore(_of(copy), damaged, overwrite=False)


def _empty(connection: Connection) -> None:
    for table in reversed(STORED_TABLES):
        connection.execute(table.delete())


@pytest.mark.sqlite_only
def test_backups_that_can_not_be_made_or_read_are_told(store: Store, tmp_path: Path) -> None:
    """No file is overwritten, none is left half written."""
    path = keeping.backup(store, tmp_path / "a.zip", at=NOW)
    with pytest.raises(StorageError, match="is there already"):
        keeping.backup(store, path, at=NOW)
    (tmp_path / "file").write_text("x")
    with pytest.raises(StorageError, match="can't be written"):
        keeping.backup(store, tmp_path / "file" / "b.zip", at=NOW)
    with pytest.raises(StorageError, match="there is no backup"):
        keeping.read_manifest(tmp_path / "none.zip")
    with pytest.raises(StorageError, match="no backup, or was cut off"):
        keeping.read_manifest(tmp_path / "file")
    newer = tmp_path / "newer.zip"
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(newer, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, content.replace(b'"schema": "0', b'"schema": "9'))
    with pytest.raises(StorageError, match="restore it with the version that made it"):
        keeping.restore(store, newer, overwrite=True)


@pytest.mark.sqlite_only
def test_a_photo_that_is_missing_is_named_in_the_backup(store: Store, tmp_path: Path) -> None:
    """The rest is kept."""
    gone = sorted(store.photos.names())[0]
    store.photos.remove(gone)
    path = keeping.backup(store, tmp_path / "a.zip", at=NOW)
    manifest = keeping.read_manifest(path)
    assert manifest.missing == (gone,)
    assert len(manifest.photos) == 2


@pytest.mark.sqlite_only
def test_a_copy_that_differs_is_taken_back(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database that changes what it is given: read back, seen, and nothing is left."""
    path = keeping.backup(store, tmp_path / "a.zip", at=NOW)
    database = open_database(f"sqlite:///{tmp_path / 'copy.sqlite3'}")

    def spoil(connection: Connection) -> None:
        connection.execute(
            text(
                "CREATE TRIGGER spoil AFTER INSERT ON items BEGIN "
                "UPDATE items SET count = count + 1 WHERE seq = NEW.seq; END"
            )
        )

    database.write(spoil)
    places = PhotoFiles(tmp_path / "photos"), BundleFolder(tmp_path / "bundles")
    copy = Store(Log(database), *places)
    with pytest.raises(StorageError, match="differs from its original in items"):
        keeping.restore(copy, path, overwrite=False)
    assert copy.log.rows_in_all() == 0
    with pytest.raises(StorageError, match="differs from its original in items"):
        keeping.move(store, copy)
    assert copy.log.rows_in_all() == 0
    database.write(lambda connection: connection.execute(text("DROP TRIGGER spoil")))
    # The photos of the first try are there; moving again takes them up.
    monkeypatch.setattr(PhotoFiles, "put", None)
    assert keeping.move(store, copy).holds
    copy.log.close()


@pytest.mark.sqlite_only
def test_nobody_writes_into_a_store_that_is_moving(
    store: Store, services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    """Else an entry would be acknowledged and stay behind."""
    impatient = services.settings.model_copy(update={"busy_timeout_s": 0.1})
    refused: list[StorageError] = []
    with _opened(impatient) as second, _opened(Settings(data_dir=tmp_path / "new")) as new:

        def during() -> None:
            if not refused:
                with pytest.raises(StorageError) as said:
                    enter(second, sort)
                refused.append(said.value)

        assert keeping.move(store, _of(new), progress=during).holds
    assert "another program is writing" in refused[0].message


@pytest.mark.sqlite_only
def test_photos_that_changed_on_the_disk_are_found(
    services: Services, sort: SortInfo, settings: Settings
) -> None:
    """By the digest in their name; a name of version 0.1 tells only whether a JPEG is whole."""
    first, second, third = (take(services, sort, shade=shade).photo_name for shade in (1, 2, 3))
    assert first
    assert second
    assert third
    folder = settings.photos_dir
    (folder / first).write_bytes((folder / first).read_bytes()[:-9] + b"\0" * 9)
    old = second.rsplit("-", 1)[0] + ".jpg"
    (folder / second).rename(folder / old)
    services.log._database.write(
        lambda connection: connection.execute(
            text("UPDATE captures SET photo_name = :new WHERE photo_name = :old"),
            {"new": old, "old": second},
        )
    )
    found = upkeep.check_store(services)
    assert (found.damaged_photos, found.ok) == ((first,), False)
    (folder / old).write_bytes((folder / old).read_bytes()[:100])
    shutil.copy(folder / third, folder / first)
    assert upkeep.check_store(services).damaged_photos == tuple(sorted((first, old)))
