"""`tallytare check`: one line each, OK or what to fix."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

import pytest

from service.settings import Settings
from service.sorting.captures import take_photo
from service.sorts.usecases import create_sort
from service.wiring import build_services
from tests.cli.conftest import Run
from tests.fakes import new_id
from tests.tiny_bundle import photo_of, write_tiny_bundle


def test_all_is_well(run: Run, data_dir: Path) -> None:
    ran = run("check")
    assert ran.code == 0
    said = ran.out.splitlines()
    assert all(line.startswith("OK    ") for line in said)
    assert any("categories" in line for line in said)
    assert any("programmes: alder_valley, port_sable" in line for line in said)
    assert any("bundle tiny 0.1.0: 17 forms" in line for line in said)
    assert any(f"none yet; it will be made in {data_dir}" in line for line in said)
    assert not data_dir.exists()


def test_damaged_bundle(run: Run, tmp_path: Path) -> None:
    network = write_tiny_bundle(tmp_path / "hurt") / "network.onnx"
    network.write_bytes(b"")
    ran = run("check", "--bundle", network.parent)
    assert ran.code == 1
    assert "FIX   " + str(network) + ": damaged or replaced" in ran.out
    assert "OK    categories" in ran.out


def test_bundle_of_unknown_categories(run: Run, tmp_path: Path) -> None:
    forms = [{"id": "cup", "name": "Cup", "categories": {"teacups": 1.0}}] * 1
    forms += [{"id": f"f{n}", "name": "F", "categories": {"food": 1.0}} for n in range(16)]
    bundle = write_tiny_bundle(tmp_path / "odd", forms=forms)
    ran = run("check", "--bundle", bundle)
    assert ran.code == 1
    assert "form cup leads to category teacups" in ran.out


def test_no_bundle_at_all(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TALLYTARE_BUNDLE", "")
    monkeypatch.setattr("classifier.inference.bundle.SHIPPED_PACKAGE", "no_such_models")
    ran = run("check")
    assert ran.code == 1
    assert "FIX   no model bundle is installed" in ran.out


def test_programme_file(run: Run, tmp_path: Path) -> None:
    shipped = files("classifier.rules.data") / "programmes" / "port_sable.toml"
    file = tmp_path / "mine.toml"
    file.write_text(shipped.read_text("utf-8"), "utf-8")
    ran = run("check", "--programme", file)
    assert ran.code == 0
    assert f"OK    programme file {file}: port_sable, version" in ran.out
    file.write_text(file.read_text("utf-8").replace("route =", "roote =", 1), "utf-8")
    ran = run("check", "--programme", file)
    assert ran.code == 1
    assert "FIX   mine.toml, line" in ran.out
    assert 'unknown key "roote"' in ran.out


def test_missing_programme_file(run: Run, tmp_path: Path) -> None:
    ran = run("check", "--programme", tmp_path / "gone.toml")
    assert ran.code == 1
    assert "FIX   gone.toml, line 1: the file can't be read" in ran.out


def test_programme_with_the_id_of_a_shipped_one(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shipped = files("classifier.rules.data") / "programmes" / "port_sable.toml"
    (tmp_path / "programmes").mkdir()
    (tmp_path / "programmes" / "mine.toml").write_text(shipped.read_text("utf-8"), "utf-8")
    monkeypatch.setenv("TALLYTARE_PROGRAMMES_DIR", str(tmp_path / "programmes"))
    ran = run("check")
    assert ran.code == 1
    assert "'port_sable' has the id of a shipped one" in ran.out


@pytest.fixture
def store(run: Run, data_dir: Path) -> Path:
    """A store with one sort and one photo; `run` has set its environment."""
    del run
    services = build_services(Settings())
    sort = create_sort(
        services,
        sort_id=new_id(),
        name="Bag",
        sorted_on=services.clock().date(),
        days=1,
        persons=1,
        programme_id="alder_valley",
    )
    take_photo(services, sort_id=sort.id, capture_id=new_id(), data=photo_of("food"))
    services.close()
    return data_dir


def test_store_is_well(run: Run, store: Path) -> None:
    ran = run("check")
    assert ran.code == 0
    assert f"OK    store: {store}" in ran.out


def test_missing_and_stray_photos(run: Run, store: Path) -> None:
    photo = next(store.glob("photos/??/*.jpg"))
    photo.rename(photo.with_name(f"{new_id()}-0123456789ab.jpg"))
    ran = run("check")
    assert ran.code == 1
    assert f"FIX   store: photo {photo.parent.name}/{photo.name} is missing" in ran.out
    assert "OK    store: photo files that no entry names: 1; left by a crash" in ran.out


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps rights in another way")
def test_what_others_can_read_is_named(
    run: Run, store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The data folder is closed by us; photos in a folder of their own are the owner's to close."""
    store.chmod(0o755)
    assert "others can read" not in run("check").out
    photos = tmp_path / "share"
    photos.mkdir(mode=0o755)
    photos.chmod(0o755)
    (photos / "a.jpg").write_bytes(b"x")
    (photos / "a.jpg").chmod(0o644)
    monkeypatch.setenv("TALLYTARE_PHOTOS", str(photos))
    checked = run("check")
    assert checked.code == 1
    assert f"others can read {photos}; " in checked.out
    assert f"others can read {photos / 'a.jpg'}; " in checked.out


def test_damaged_store(run: Run, store: Path) -> None:
    for file in store.glob("tallytare.sqlite3*"):
        file.write_bytes(b"this is no database, whatever it was before" * 100)
    ran = run("check")
    assert ran.code == 1
    assert "FIX   the database" in ran.out
