"""Full disks, locks, damage and crashes: a clear message, nothing half recorded."""

from __future__ import annotations

import errno
import os
import sqlite3
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from sqlalchemy import event, text

import service.photos.files
import service.synced
from classifier.errors import BundleError, StorageError, UnknownIdError, UnreadablePhotoError
from classifier.log.records import SortInfo
from service.keeping import upkeep
from service.keeping.upkeep import Health
from service.model_cache import LoadedModel
from service.photos.files import PhotoFiles
from service.reports import usecases as reports
from service.services import Services
from service.settings import Settings
from service.sorting import captures, items
from service.store.log import Log
from service.wiring import build_services
from tests.fakes import FakePredictor, jpeg, model_record, new_id
from tests.store.entries import CARDBOARD, confirmed_item, counts, enter, start, take, weigh


def _full(*_: Any, **__: Any) -> int:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def _fill_database(services: Services) -> None:
    """Forbid the database file to grow: SQLite then says what it says on a full disk."""
    engine = services.log._database.engine
    engine.dispose()

    @event.listens_for(engine, "connect")
    def _limit(connection: Any, _record: Any) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count={pages}")


def _until_full(enter_one: Callable[[int], object]) -> int:
    """Enter until the disk is full and return how many got in."""
    for kept in range(250):
        try:
            enter_one(kept)
        except StorageError as error:
            if "free some space" not in error.message:
                raise
            return kept
    raise AssertionError("the disk never filled")


def test_a_disk_full_at_the_photo(
    services: Services, sort: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No file, no row; the same photo goes through once there is space."""
    capture_id, data = new_id(), jpeg()
    with monkeypatch.context() as patched:
        patched.setattr(os, "write", _full)
        with pytest.raises(StorageError, match=r"No space left.*free some space"):
            take(services, sort, capture_id=capture_id, data=data)
    assert list(services.photos.names()) == []
    assert list(services.photos.unfinished()) == []
    with pytest.raises(UnknownIdError):
        captures.get_capture(services, capture_id)
    assert take(services, sort, capture_id=capture_id, data=data).photo_name is not None


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_disk_that_fails_late_at_the_photo(
    services: Services, sort: SortInfo, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """Synchronising and renaming can fail too."""
    with monkeypatch.context() as patched:
        patched.setattr(os, step, _full)
        with pytest.raises(StorageError, match="nothing was recorded"):
            take(services, sort)
    assert list(services.photos.names()) == []
    assert list(services.photos.unfinished()) == []
    assert captures.open_captures(services, sort.id) == ()


@pytest.mark.sqlite_only
def test_a_disk_full_at_the_row(services: Services, sort: SortInfo) -> None:
    """What was recorded stays readable; what was refused is not half there."""
    _fill_database(services)
    kept = _until_full(lambda _: enter(services, sort, note="n" * 1000))
    assert counts(services, sort) == ({CARDBOARD: kept} if kept else {})
    assert upkeep.check_store(services).ok
    assert upkeep.health(services).store


@pytest.mark.sqlite_only
def test_a_disk_full_between_photo_and_row(services: Services, sort: SortInfo) -> None:
    """The photo's file stays as an orphan that `check` finds; resending uses it."""
    _fill_database(services)
    kept = _until_full(lambda n: take(services, sort, shade=n))
    found = upkeep.check_store(services)
    assert found.ok
    assert len(found.orphan_photos) == 1
    assert len(list(services.photos.names())) == kept + 1


def test_a_crash_between_photo_and_row(
    services: Services, sort: SortInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An orphan is left; the page's resend under the same id completes it."""

    class PowerCut(BaseException):
        """The process is gone."""

    def cut(*_: Any, **__: Any) -> None:
        raise PowerCut

    capture_id, data = new_id(), jpeg()
    with monkeypatch.context() as patched:
        patched.setattr(type(services.log), "add_capture", cut)
        with pytest.raises(PowerCut):
            take(services, sort, capture_id=capture_id, data=data)
    assert len(upkeep.check_store(services).orphan_photos) == 1
    take(services, sort, capture_id=capture_id, data=data)
    found = upkeep.check_store(services)
    assert (found.orphan_photos, found.missing_photos, found.ok) == ((), (), True)
    assert len(list(services.photos.names())) == 1


def test_a_crash_while_the_photo_is_written(services: Services) -> None:
    """The unfinished file is found and is no photo."""
    folder = services.settings.photos_dir / "ab"
    folder.mkdir(parents=True)
    (folder / ".unfinished-1").write_bytes(b"half")
    found = upkeep.check_store(services)
    assert found.unfinished_photos == ("ab/.unfinished-1",)
    assert found.orphan_photos == ()
    assert found.ok


def test_a_lost_photo_is_told(services: Services, sort: SortInfo) -> None:
    """The row is there, the file is not: check says so, the sort goes on."""
    photo = take(services, sort)
    assert photo.photo_name is not None
    (services.settings.photos_dir / photo.photo_name).unlink()
    found = upkeep.check_store(services)
    assert not found.ok
    assert found.missing_photos == (photo.photo_name,)
    with pytest.raises(UnknownIdError, match="missing"):
        captures.read_photo(services, photo.id)
    enter(services, sort, capture_id=photo.id)


@pytest.mark.sqlite_only
def test_a_database_locked_by_another_program(settings: Settings) -> None:
    """After the time-out the message says what to do; afterwards it works."""
    quick = build_services(
        settings.model_copy(update={"busy_timeout_s": 0.2}),
        model=LoadedModel(FakePredictor(), model_record(), ""),
    )
    path = settings.data_dir / "tallytare.sqlite3"
    sort = start(quick)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(StorageError, match=r"locked.*close that"):
        enter(quick, sort)
    assert counts(quick, sort) == {}, "reading goes on while another program writes"
    other.execute("ROLLBACK")
    other.close()
    enter(quick, sort)
    assert counts(quick, sort) == {CARDBOARD: 1}
    quick.close()


@pytest.mark.sqlite_only
def test_a_database_damaged_in_the_middle(settings: Settings, services: Services) -> None:
    """`check` says so instead of falling over."""
    sort = start(services)
    for _ in range(200):
        enter(services, sort, note="n" * 500)
    services.close()
    path = settings.data_dir / "tallytare.sqlite3"
    with sqlite3.connect(path) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    data = bytearray(path.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 8192] = b"\xff" * 8192
    path.write_bytes(bytes(data))
    found = upkeep.check_store(services)
    assert not found.ok
    assert any("restore" in problem or "page" in problem for problem in found.problems)


def test_a_table_that_is_gone(services: Services, sort: SortInfo) -> None:
    """Somebody else's program dropped it."""
    services.log._database.write(lambda connection: connection.execute(text("DROP TABLE tares")))
    with pytest.raises(StorageError, match="table is missing"):
        services.log.list_tares()
    assert counts(services, sort) == {}


def test_a_missing_model_leaves_everything_else(
    settings: Settings, sort: SortInfo, services: Services
) -> None:
    """Photos are kept, the person chooses by hand, and health says why."""
    without = build_services(settings.model_copy(update={"bundle": "no-such-bundle"}))
    assert without.predictor is None
    photo = take(without, sort)
    assert photo.suggestion.decision == "unsure"
    assert photo.suggestion.check != ()
    assert "no-such-bundle" in photo.notice
    item = enter(without, sort, capture_id=photo.id).item
    assert (item.suggested, item.model_version) == (None, None)
    state = upkeep.health(without)
    assert (state.ok, state.store, state.model) == (False, True, None)
    without.close()
    assert confirmed_item(services, photo.id) == item


def test_a_database_that_is_gone_before_the_model_is_there(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Health says so instead of failing, and the log tells why there is no model."""

    def gone(_log: Log) -> str:
        raise StorageError("the database does not answer")

    monkeypatch.setattr(Log, "promoted_bundle", gone)
    without = build_services(settings)
    without.inference.shutdown()
    assert "the model could not be loaded at the start" in caplog.text
    assert upkeep.health(without) == Health(
        ok=False, store=False, model=None, problems=("the database does not answer",)
    )
    without.close()


def test_a_model_that_fails_in_use(
    services: Services, sort: SortInfo, predictor: FakePredictor
) -> None:
    """The photo is kept all the same."""

    def fail() -> None:
        raise BundleError("the network gave no number")

    predictor.before = fail
    photo = take(services, sort)
    assert photo.suggestion.decision == "unsure"
    assert photo.notice == "the network gave no number"


def test_an_unreadable_photo_leaves_nothing(services: Services, sort: SortInfo) -> None:
    """No file and no row, and the model's place is free again."""
    for _ in range(5):
        with pytest.raises(UnreadablePhotoError):
            take(services, sort, data=b"text called .jpg")
    assert list(services.photos.names()) == []
    take(services, sort)


def test_stored_photos_carry_no_metadata(services: Services, sort: SortInfo) -> None:
    """Neither camera nor place; small by default; readable by this user only."""
    photo = take(services, sort, data=jpeg(size=(1600, 1200), location=True))
    kept = captures.read_photo(services, photo.id)
    path = services.settings.photos_dir / str(photo.photo_name)
    with Image.open(path) as image:
        assert dict(image.getexif()) == {}
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert max(image.size) == captures.LOG_SIDE_PX
    assert b"Exif" not in kept
    assert b"SomeCamera" not in kept
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.sqlite_only
@pytest.mark.skipif(os.name == "nt", reason="folders can't be synchronised there")
def test_the_names_of_new_folders_last_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a power cut takes the first photo of a store, folder and all."""
    synced: list[Path] = []
    monkeypatch.setattr(service.synced, "sync_folder", synced.append)
    monkeypatch.setattr(service.photos.files, "sync_folder", synced.append)
    files = PhotoFiles(tmp_path / "data" / "photos")
    name = files.keep(new_id(), b"x", sent="")
    assert synced == [
        tmp_path, tmp_path / "data", tmp_path / "data" / "photos",
        tmp_path / "data" / "photos" / name[:2],
    ]  # fmt: skip
    synced.clear()
    files.put(name, b"y")
    assert synced == [tmp_path / "data" / "photos" / name[:2]]


def test_a_folder_that_may_not_be_entered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not taken for one without the photo."""
    files = PhotoFiles(tmp_path)
    name = files.keep(new_id(), b"x", sent="")

    def refused(_path: Path) -> bool:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "is_file", refused)
    with pytest.raises(StorageError, match="Permission denied"):
        files.has(name)


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "/etc/passwd", "ab/../../x.jpg", "ab/x.jpg", "", "ab/x.jpg\x00"]
)
def test_no_name_of_another_kind_reaches_the_disk(tmp_path: Path, name: str) -> None:
    """Only names that we made ourselves."""
    files = PhotoFiles(tmp_path)
    for use in (files.read, files.has, files.remove):
        act: Callable[[str], object] = use
        with pytest.raises(UnknownIdError, match="no name of a stored photo"):
            act(name)


def test_a_photo_id_that_is_no_uuid_never_becomes_a_path(tmp_path: Path) -> None:
    """Use cases check it before; the file store does not rely on that."""
    with pytest.raises(ValueError, match="badly formed"):
        PhotoFiles(tmp_path).keep("../../x", b"", sent="")


def test_export_to_a_full_disk(
    services: Services, sort: SortInfo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log is unharmed and the message says so."""
    enter(services, sort)
    monkeypatch.setattr(Path, "write_text", _full)
    with pytest.raises(StorageError, match="the log is unharmed"):
        reports.export(services, tmp_path / "out")
    assert items.list_items(services, sort.id) != ()


def test_an_old_sort_without_its_programme(
    services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    """Its report waits for the file; everything else is exported."""
    enter(services, sort)
    weigh(services, sort)
    programmes = dict(services.programmes)
    assert isinstance(services.programmes, dict)
    services.programmes.pop("alder_valley")
    done: list[tuple[int, int]] = []
    made = reports.export(services, tmp_path, progress=lambda *each: done.append(each))
    services.programmes.update(programmes)
    assert len(made.failed) == 1
    assert "put its file back" in made.failed[0]
    assert done == [(1, 1)]
    assert (tmp_path / "log" / "items.csv").read_text().count("\n") == 2
