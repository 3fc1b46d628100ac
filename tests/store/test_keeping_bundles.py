"""Promoted bundles in backups: whole and as their names say, across both engines, or named."""

from __future__ import annotations

import json
import os
import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from classifier.errors import BundleError, StorageError
from service.bundles import folder as bundle_files
from service.bundles import usecases as bundles
from service.bundles.folder import BundleFolder
from service.keeping import usecases as keeping
from service.keeping.usecases import Store
from service.services import Services
from service.settings import Settings
from service.synced import sync_folder
from service.wiring import build_services
from tests.fakes import new_id
from tests.postgres import PostgresServer
from tests.store.entries import start, take
from tests.tiny_bundle import photo_of, write_tiny_bundle


@pytest.fixture
def shipped(tmp_path: Path) -> Path:
    """Return the bundle that the settings name."""
    return write_tiny_bundle(tmp_path / "shipped", version="1")


@pytest.fixture
def promoting(settings: Settings, shipped: Path, tmp_path: Path) -> Iterator[Services]:
    """Return a store in which two bundles were promoted, one after the other."""
    services = build_services(settings.model_copy(update={"bundle": str(shipped)}))
    for version in "23":
        made = write_tiny_bundle(tmp_path / f"v{version}", version=version)
        bundles.promote(services, promotion_id=new_id(), bundle=str(made), paths=True)
        shutil.rmtree(made)
    yield services
    services.close()


@pytest.fixture(params=["sqlite", "postgresql"])
def other(request: pytest.FixtureRequest, shipped: Path, tmp_path: Path) -> Iterator[Services]:
    """Return an empty store of another machine, on either engine."""
    update: dict[str, object] = {"data_dir": tmp_path / "other", "bundle": str(shipped)}
    name = ""
    if request.param == "postgresql":
        server: PostgresServer = request.getfixturevalue("postgres")
        name = server.new_database(request.getfixturevalue("empty_postgres"))
        update["database_url"] = server.url(name)
    services = build_services(Settings().model_copy(update=update))
    yield services
    services.close()
    if name:
        server.drop(name)


def _of(services: Services) -> Store:
    return Store(services.log, services.photos, BundleFolder(services.settings.bundles_dir))


def _answers(services: Services) -> str:
    view = take(services, start(services), data=photo_of("food_can"))
    assert view.model is not None
    return view.model.version


def _as_promoted(services: Services) -> None:
    """The bundle answers that did, and going back leads where it led."""
    assert _answers(services) == "3"
    assert services.models.trouble == ""
    assert bundles.roll_back(services, promotion_id=new_id()).answering == "tiny 2"
    assert bundles.roll_back(services, promotion_id=new_id()).answering == "tiny 1"


def test_what_was_promoted_is_restored(
    promoting: Services, other: Services, tmp_path: Path
) -> None:
    path = keeping.backup(_of(promoting), tmp_path / "a.zip", at=promoting.clock())
    manifest = keeping.restore(_of(other), path, overwrite=False)
    assert [set(files) for files in manifest.bundles.values()] == [
        {"bundle.json", "network.onnx", "CARD.md"}
    ] * 2
    assert _of(other).lost_bundles() == ()
    _as_promoted(other)


def test_what_was_promoted_moves_house(promoting: Services, other: Services) -> None:
    proof = keeping.move(_of(promoting), _of(other))
    assert proof.holds
    assert len(proof.new.bundles) == 2
    _as_promoted(other)


@pytest.mark.sqlite_only
def test_a_move_to_where_a_lost_bundle_is_whole(promoting: Services, other: Services) -> None:
    """A move that was cut off before the old one was damaged: what is there does no harm."""
    name = promoting.log.promoted_bundle()
    content = BundleFolder(promoting.settings.bundles_dir).read(name)
    BundleFolder(other.settings.bundles_dir).put(name, content)
    shutil.rmtree(promoting.settings.bundles_dir / name)
    proof = keeping.move(_of(promoting), _of(other))
    assert name not in proof.old.bundles
    assert len(proof.new.bundles) == 1
    assert _of(other).lost_bundles() == ()


def _changed(path: Path, change: Callable[[str, bytes], bytes | None]) -> Path:
    """Return a copy of a backup with its parts changed, or left out for None."""
    target = path.with_name("changed.zip")
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            content = change(name, old.read(name))
            if content is not None:
                new.writestr(name, content)
    return target


def test_a_backup_of_an_earlier_version(
    promoting: Services, other: Services, tmp_path: Path
) -> None:
    """It has no bundles: rows and photos come as before, and what is missing is known."""
    path = keeping.backup(_of(promoting), tmp_path / "a.zip", at=promoting.clock())

    def earlier(name: str, content: bytes) -> bytes | None:
        if name == "manifest.json":
            kept = json.loads(content)
            del kept["bundles"]
            return json.dumps(kept).encode()
        return None if name.startswith("bundles/") else content

    keeping.restore(_of(other), _changed(path, earlier), overwrite=False)
    assert _answers(other) == "1"
    assert len(_of(other).lost_bundles()) == 2


@pytest.mark.sqlite_only
@pytest.mark.parametrize("lost", ["gone", "damaged"])
def test_a_lost_bundle_is_left_out_and_named(
    promoting: Services, lost: str, tmp_path: Path
) -> None:
    """The rest is kept; a damaged one is not passed on as if it were good."""
    newest = promoting.settings.bundles_dir / promoting.log.promoted_bundle()
    if lost == "gone":
        shutil.rmtree(newest)
    else:
        (newest / "network.onnx").write_bytes(b"0")
    path = keeping.backup(_of(promoting), tmp_path / "a.zip", at=promoting.clock())
    assert len(keeping.read_manifest(path).bundles) == 1
    assert _of(promoting).lost_bundles() == (newest.name,)


@pytest.mark.sqlite_only
def test_a_damaged_bundle_in_a_backup_changes_nothing(
    promoting: Services, other: Services, tmp_path: Path
) -> None:
    path = keeping.backup(_of(promoting), tmp_path / "a.zip", at=promoting.clock())
    hurt = _changed(path, lambda name, old: old + b"x" if name.endswith(".onnx") else old)
    with pytest.raises(StorageError, match="is damaged at bundles/tiny-2"):
        keeping.restore(_of(other), hurt, overwrite=False)
    assert other.log.rows_in_all() == 0
    assert not other.settings.bundles_dir.exists()


@pytest.mark.sqlite_only
def test_only_what_the_name_says_is_written(promoting: Services, tmp_path: Path) -> None:
    """A backup from elsewhere may have been made by hand, with digests that agree."""
    name = promoting.log.promoted_bundle()
    good = BundleFolder(promoting.settings.bundles_dir).read(name)
    folder = BundleFolder(tmp_path / "into")
    wrong = {
        "../out": (good, "no name of an installed bundle"),
        ".hidden": (good, "no name of an installed bundle"),
        name: ({**good, "../x": b"x"}, "no name of a file"),
        name + "0": (good, "not what its name says"),
    }
    for title, (content, message) in wrong.items():
        with pytest.raises(BundleError, match=message):
            folder.put(title, content)
    for content, message in (
        ({**good, "more.bin": b"x"}, "do not belong"),
        ({**good, "CARD.md": b"another"}, "not what its name says"),
        ({**good, "network.onnx": b"another"}, "not what its manifest says"),
        ({}, "no such file"),
    ):
        with pytest.raises(BundleError, match=message):
            folder.put(name, content)
    assert not (tmp_path / "x").exists()
    assert not any(each.name == name for each in (tmp_path / "into").iterdir())
    folder.put(name, good)
    (tmp_path / "into" / name / "network.onnx").write_bytes(b"damaged since")
    folder.put(name, good)
    assert folder.read(name) == good


@pytest.mark.sqlite_only
def test_another_process_writes_the_same_bundle_first(
    promoting: Services, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both are done, one copy is there, and nothing is left over."""
    name = promoting.log.promoted_bundle()
    good = BundleFolder(promoting.settings.bundles_dir).read(name)
    folder = BundleFolder(tmp_path / "into")

    def overtaken(path: Path) -> None:
        monkeypatch.setattr(bundle_files, "sync_folder", sync_folder)
        folder.put(name, good)
        sync_folder(path)

    monkeypatch.setattr(bundle_files, "sync_folder", overtaken)
    folder.put(name, good)
    assert folder.read(name) == good
    assert [each.name for each in (tmp_path / "into").iterdir()] == [name]


@pytest.mark.sqlite_only
def test_what_a_broken_off_restore_left_is_swept(promoting: Services, tmp_path: Path) -> None:
    name = promoting.log.promoted_bundle()
    good = BundleFolder(promoting.settings.bundles_dir).read(name)
    old, young = (tmp_path / f".unfinished-{number}" for number in "12")
    for left in (old, young):
        left.mkdir()
    os.utime(old, (1, 1))
    BundleFolder(tmp_path).put(name, good)
    assert (old.exists(), young.exists()) == (False, True)


@pytest.mark.sqlite_only
def test_a_full_disk_is_told(promoting: Services, tmp_path: Path) -> None:
    name = promoting.log.promoted_bundle()
    good = BundleFolder(promoting.settings.bundles_dir).read(name)
    (tmp_path / "file").write_text("x")
    with pytest.raises(BundleError, match="can't be written"):
        BundleFolder(tmp_path / "file" / "bundles").put(name, good)
