"""Backups of damaged photos, and backups that were changed: refused in words, the rest is kept."""

from __future__ import annotations

import json
import os
import stat
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from classifier.errors import StorageError
from classifier.log.records import SortInfo
from service.bundles.folder import BundleFolder
from service.keeping import upkeep
from service.keeping import usecases as keeping
from service.keeping.usecases import Store
from service.model_cache import LoadedModel
from service.photos.files import PhotoFiles
from service.photos.names import Faults
from service.services import Services
from service.settings import Settings
from service.store.row_check import LONGEST_ROW_BYTES
from service.store.row_text import digest_lines
from service.wiring import build_services
from tests.fakes import FakePredictor, model_record
from tests.store.entries import enter, take, weigh

pytestmark = pytest.mark.sqlite_only
NOW = datetime(2026, 5, 1, 12, 0, tzinfo=UTC)
Row = dict[str, Any]


def _of(services: Services) -> Store:
    return Store(services.log, services.photos, BundleFolder(services.settings.bundles_dir))


@pytest.fixture
def store(services: Services, sort: SortInfo) -> Store:
    """Return a store with three photos, items and a weight."""
    for shade in (40, 41, 42):
        enter(services, sort, capture_id=take(services, sort, shade=shade).id, count=2)
    weigh(services, sort, gross="1.20", tare="0.250")
    return _of(services)


@pytest.fixture
def copy(tmp_path: Path) -> Any:
    """Return an empty store."""
    model = LoadedModel(FakePredictor(), model_record(), "")
    made = build_services(Settings(data_dir=tmp_path / "copy"), model=model)
    yield made
    made.close()


def _hurt(settings: Settings, name: str) -> None:
    """Change a photo in the middle, as a failing disk does."""
    path = settings.photos_dir / name
    data = path.read_bytes()
    path.write_bytes(data[:-30] + b"\0" * 28 + data[-2:])


def test_a_damaged_photo_is_named_and_all_the_rest_is_kept(
    store: Store, services: Services, copy: Services, tmp_path: Path
) -> None:
    """By the backup, its manifest, the restore and the check alike; one that is a folder too."""
    first, second, third = sorted(store.photos.names())
    _hurt(services.settings, first)
    (services.settings.photos_dir / second).unlink()
    (services.settings.photos_dir / second).mkdir()
    path = keeping.backup(store, tmp_path / "a.zip", at=NOW)
    manifest = keeping.read_manifest(path)
    assert (manifest.damaged, tuple(manifest.photos)) == ((first, second), (third,))
    assert upkeep.check_store(services).damaged_photos == (first, second)
    came = keeping.restore(_of(copy), path, overwrite=False)
    assert (came.damaged, tuple(copy.photos.names())) == ((first, second), (third,))
    assert upkeep.check_store(copy).missing_photos == (first, second)
    assert copy.log.rows_in_all() == services.log.rows_in_all()


def test_a_move_leaves_damage_behind(store: Store, services: Services, copy: Services) -> None:
    """It is named, and all else is proven equal."""
    first = min(store.photos.names())
    _hurt(services.settings, first)
    proof = keeping.move(store, _of(copy))
    assert (proof.holds, proof.faults) == (True, Faults((), (first,)))
    assert first not in set(copy.photos.names())


def test_damage_that_an_earlier_version_kept_as_good_is_named(
    store: Store, services: Services, copy: Services, tmp_path: Path, monkeypatch: Any
) -> None:
    """Its manifest says so of the damaged bytes; the name does not."""
    first = min(store.photos.names())
    _hurt(services.settings, first)
    with monkeypatch.context() as earlier:
        earlier.setattr("service.keeping.archive.read_whole", PhotoFiles.read)
        path = keeping.backup(store, tmp_path / "a.zip", at=NOW)
    came = keeping.restore(_of(copy), path, overwrite=False)
    assert (came.damaged, first in came.photos, len(came.photos)) == ((first,), False, 2)
    assert first not in set(copy.photos.names())


@pytest.mark.skipif(os.name == "nt", reason="folders can't be synchronised there")
def test_the_name_of_a_backup_lasts(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder is synchronised once the file bears its name: a power cut leaves it there."""
    there: list[bool] = []
    path = tmp_path / "kept" / "a.zip"
    fsync = os.fsync

    def watched(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode) and os.path.samestat(
            os.fstat(descriptor), path.parent.stat()
        ):
            there.append(path.exists())
        fsync(descriptor)

    monkeypatch.setattr("service.synced.os.fsync", watched)
    keeping.backup(store, path, at=NOW)
    assert there[-1:] == [True]


def _changed(path: Path, table: str, change: Callable[[Row], None]) -> Path:
    """Return a backup whose first row of a table is changed, with digests that fit."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    manifest = json.loads(parts["manifest.json"])
    columns = manifest["tables"][table]["columns"]
    lines = parts[f"tables/{table}.jsonl"].splitlines()
    row = dict(zip(columns, json.loads(lines[0]), strict=True))
    change(row)
    raw = row.pop("whole line", None)
    line = json.dumps([*row.values()], ensure_ascii=False, separators=(",", ":")).encode()
    lines[0] = raw or line
    digest = digest_lines(lines)
    manifest["tables"][table] |= {"rows": digest.rows, "sha256": digest.sha256}
    parts[f"tables/{table}.jsonl"] = b"".join(line + b"\n" for line in lines)
    parts["manifest.json"] = json.dumps(manifest).encode()
    tampered = path.with_name("tampered.zip")
    with zipfile.ZipFile(tampered, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return tampered


def _with(**values: Any) -> Callable[[Row], None]:
    return lambda row: row.update({name.replace("_line", " line"): v for name, v in values.items()})


CHANGES: list[tuple[str, Callable[[Row], None], str]] = [
    ("items", _with(count="x"), "has 'x' as count"),
    ("items", _with(count=True), "has True as count"),
    ("items", _with(count=1.5), "has 1.5 as count"),
    ("items", _with(count=2**40), "as count"),
    ("items", _with(count=None), "has no count"),
    ("items", _with(seq=2**63 - 1), "as seq"),
    ("items", _with(seq=0), "has 0 as seq"),
    ("items", _with(category=7), "has 7 as category"),
    ("items", _with(facts=["empty"]), "as facts"),
    ("items", _with(at="yesterday"), "has 'yesterday' as at"),
    ("items", _with(at="2026-05-01T09:00:00"), "as at"),
    ("items", _with(at="0001-01-01T00:00:00+23:00"), "as at"),
    ("items", _with(batch_id="0" * 36), "refer to what is not there"),
    ("items", lambda row: row.update(id=row["id"], more=1), " columns, not "),
    ("items", _with(whole_line=b"[" * 100_000), "can't be read"),
    ("items", _with(whole_line=b"[" * 30 + b"]" * 30), "of at most 20 levels"),
    ("items", _with(whole_line=b'{"count": 1}'), "is no list"),
    ("items", _with(whole_line=b"[NaN]"), "can't be read"),
    ("items", _with(note="x" * (LONGEST_ROW_BYTES + 1)), "damaged at tables/items.jsonl"),
    ("sorts", _with(sorted_on="31 May"), "has '31 May' as sorted_on"),
    ("weighings", _with(gross="1e999999999"), "as gross"),
    ("weighings", _with(gross="NaN"), "has 'NaN' as gross"),
    ("weighings", _with(unit="ells"), "has 'ells' as unit"),
    ("weighings", _with(gross="0.10"), "can't be added up"),
    ("weighings", _with(load="1"), "has '1' as load"),
]


@pytest.mark.parametrize(("table", "change", "message"), CHANGES, ids=[each[2] for each in CHANGES])
def test_a_backup_that_was_changed_by_hand_is_refused_in_words(
    store: Store,
    copy: Services,
    tmp_path: Path,
    table: str,
    change: Callable[[Row], None],
    message: str,
) -> None:
    """Its digests fit, as whoever changes rows can make them; no table is left half filled."""
    path = _changed(keeping.backup(store, tmp_path / "a.zip", at=NOW), table, change)
    with pytest.raises(StorageError) as refused:
        keeping.restore(_of(copy), path, overwrite=False)
    assert message in refused.value.message
    assert "nothing was" in refused.value.message
    assert len(refused.value.message) < 400
    assert copy.log.rows_in_all() == 0


@pytest.mark.parametrize(
    "manifest", [b"[" * 100_000, b"[]", b'{"format": 1}', b"{}", b'{"format": [1]}']
)
def test_a_manifest_that_is_none_is_refused(
    copy: Services, tmp_path: Path, manifest: bytes
) -> None:
    """Deep, empty, or of other things."""
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("manifest.json", manifest)
    with pytest.raises(StorageError, match=r"nothing was restored|does not know"):
        keeping.restore(_of(copy), path, overwrite=False)
