"""`tallytare backup`, `restore` and `move`, as a person runs them."""

from __future__ import annotations

import os
import shutil
import stat
from pathlib import Path

import pytest

from service.model_cache import LoadedModel
from service.settings import Settings
from service.web import access
from service.wiring import build_services
from tests.cli.conftest import Run
from tests.fakes import FakePredictor, model_record
from tests.postgres import PostgresServer
from tests.store.entries import enter, start, take


@pytest.fixture
def filled(data_dir: Path) -> str:
    """Return the name of a sort with a photo in the store of the command."""
    services = build_services(
        Settings(data_dir=data_dir), model=LoadedModel(FakePredictor(), model_record(), "")
    )
    sort = start(services)
    enter(services, sort, capture_id=take(services, sort).id, count=3)
    services.close()
    return sort.name


def test_backup_and_restore(
    run: Run, filled: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Out and into another folder; the report is the same; a second restore is refused."""
    report = run("report", filled, "--format", "json").out
    file = tmp_path / "kept.zip"
    made = run("backup", file)
    assert (made.code, " rows, 1 photo, " in made.out, "read back" in made.out) == (0, True, True)
    assert run("backup", file).code == 1
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(tmp_path / "copy"))
    assert run("restore", file).code == 0
    assert run("report", filled, "--format", "json").out == report
    again = run("restore", file)
    assert (again.code, "add --overwrite" in again.said) == (1, True)
    assert run("restore", file, "--overwrite").code == 0
    assert run("check").code == 0


def test_a_missing_photo_is_named(run: Run, filled: str, data_dir: Path, tmp_path: Path) -> None:
    """At the backup, and when it is restored."""
    assert filled
    next(data_dir.glob("photos/*/*.jpg")).unlink()
    made = run("backup", tmp_path)
    assert (made.code, "FIX   photo" in made.out) == (1, True)
    (file,) = tmp_path.glob("tallytare-*.zip")
    back = run("restore", file, "--overwrite")
    assert (back.code, "was missing already" in back.out) == (1, True)


def test_a_damaged_photo_is_told(run: Run, filled: str, data_dir: Path, tmp_path: Path) -> None:
    """By backup, restore and check alike, with exit code 1; all the rest is kept."""
    assert filled
    (photo,) = data_dir.glob("photos/*/*.jpg")
    photo.write_bytes(photo.read_bytes()[:-20] + b"\0" * 18 + b"\xff\xd9")
    made = run("backup", tmp_path / "a.zip")
    assert (made.code, f"{photo.name} in" in made.out, "is damaged" in made.out) == (1, True, True)
    back = run("restore", tmp_path / "a.zip", "--overwrite")
    assert (back.code, f"{photo.name} was damaged already" in back.out) == (1, True)
    checked = run("check")
    assert (checked.code, f"{photo.name} in" in checked.out) == (1, True)


def test_there_must_be_something_to_keep(run: Run, tmp_path: Path) -> None:
    """A typo in the folder must not make a backup of nothing."""
    none = run("backup", tmp_path / "a.zip")
    assert (none.code, "no SQLite store at" in none.said) == (1, True)
    assert run("restore", tmp_path / "a.zip").code == 1
    assert run("move", tmp_path, "--to", "sqlite:///x").code == 1


def test_a_move_to_another_file(run: Run, filled: str, data_dir: Path, tmp_path: Path) -> None:
    """Photos beside it, unless another place is given."""
    assert filled
    assert "no database to move to" in run("move", data_dir).said
    moved = run("move", data_dir, "--to", f"sqlite:///{tmp_path / 'new' / 'tallytare.sqlite3'}")
    assert moved.code == 0
    assert "1 items, 3 objects, 0.000000 kg equal" in moved.out
    assert "DIFFERENT" not in moved.out
    assert len(list((tmp_path / "new" / "photos").glob("*/*.jpg"))) == 1


def test_a_move_to_postgres(
    run: Run,
    filled: str,
    data_dir: Path,
    postgres: PostgresServer,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """With the URL from the environment; then the commands go on from there."""
    report = run("report", filled, "--format", "json").out
    name = postgres.new_database()
    monkeypatch.setenv("TALLYTARE_DATABASE_URL", postgres.url(name))
    monkeypatch.setenv("TALLYTARE_PHOTOS", str(tmp_path / "share"))
    moved = run("move", data_dir / "tallytare.sqlite3")
    assert (moved.code, "DIFFERENT" in moved.out) == (0, False)
    assert run("report", filled, "--format", "json").out == report
    checked = run("check")
    assert "photo" not in checked.out
    assert "fsync off" in checked.out, "the server of the tests is set up to be quick"
    monkeypatch.setenv("TALLYTARE_PHOTOS", "nonsense://x")
    assert "TALLYTARE_PHOTOS can't be used" in run("check").out + run("report", filled).said


def test_a_promoted_bundle_goes_along(
    run: Run, filled: str, data_dir: Path, tiny: Path, tmp_path: Path
) -> None:
    """Into the backup and out of it; where it is lost each command says so."""
    assert filled
    assert run("bundles", "promote", tiny).code == 0
    (bundle,) = data_dir.glob("bundles/tiny-*")
    assert ", 1 promoted bundle, " in run("backup", tmp_path / "a.zip").out
    assert f"OK    promoted bundle {bundle.name}" in run("check").out
    shutil.rmtree(bundle)
    checked = run("check")
    assert (checked.code, f"FIX   promoted bundle {bundle.name}" in checked.out) == (1, True)
    made = run("backup", tmp_path / "b.zip")
    assert (made.code, f"FIX   bundle {bundle.name} should answer" in made.out) == (1, True)
    assert "should answer" in run("restore", tmp_path / "b.zip", "--overwrite").out
    assert "should answer" not in run("restore", tmp_path / "a.zip", "--overwrite").out
    assert run("check").code == 0
    assert run("bundles", "rollback").code == 0
    shutil.rmtree(bundle)
    moved = run("move", data_dir, "--to", f"sqlite:///{tmp_path / 'new' / 'tallytare.sqlite3'}")
    assert (moved.code, "promoted once, is not whole" in moved.out) == (0, True)
    assert run("check").code == 0
    later = run("backup", tmp_path / "c.zip")
    assert (later.code, "promoted once, is not whole" in later.out) == (0, True)


def test_who_was_shut_out_since_is_let_in_again(run: Run, filled: str, tmp_path: Path) -> None:
    """The backup is older than that; whoever restores it is asked to look."""
    assert filled
    services = build_services(Settings())
    code = access.make_join_code(services, role="sorter").code
    device = access.join(services, code=code, name="Phone").device
    run("backup", tmp_path / "a.zip")
    access.revoke(services, device_id=device.id)
    run("backup", tmp_path / "b.zip")
    services.close()
    assert "1 device is let in" in run("restore", tmp_path / "a.zip", "--overwrite").out
    assert "let in" not in run("restore", tmp_path / "b.zip", "--overwrite").out


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps rights in another way")
def test_a_new_data_folder_is_nobody_elses(filled: str, data_dir: Path, tmp_path: Path) -> None:
    """Also where the database is elsewhere: what is uploaded waits in it."""
    assert filled
    assert stat.S_IMODE(data_dir.stat().st_mode) == 0o700
    beside = tmp_path / "beside"
    url = f"sqlite:///{tmp_path / 'database' / 'x.sqlite3'}"
    build_services(Settings(data_dir=beside, database_url=url)).close()
    assert stat.S_IMODE(beside.stat().st_mode) == 0o700
