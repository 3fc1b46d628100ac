"""Nobody else on this machine reads what is kept, whatever the umask was."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.model_cache import LoadedModel
from service.private import make_private, open_to_others, write_private
from service.settings import Settings
from service.wiring import build_services
from tests.fakes import FakePredictor, model_record
from tests.store.entries import enter, start, take

pytestmark = [
    pytest.mark.sqlite_only,
    pytest.mark.skipif(os.name == "nt", reason="Windows keeps rights in another way"),
]


@pytest.fixture
def open_umask() -> Iterator[None]:
    """Let files be readable and writable for everybody unless somebody takes care."""
    before = os.umask(0)
    yield
    os.umask(before)


def _mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.usefixtures("open_umask")
@pytest.mark.parametrize("there", [False, True])
@pytest.mark.parametrize("elsewhere", [False, True])
def test_a_store_is_this_users_alone(tmp_path: Path, there: bool, elsewhere: bool) -> None:
    """Folder, database, write-ahead log, photos and small pictures, also where they were there."""
    data = tmp_path / "data"
    database = (tmp_path if elsewhere else data) / "tallytare.sqlite3"
    if there:
        (data / "photos").mkdir(parents=True)
        database.touch()
    url = f"sqlite:///{database}" if elsewhere else ""
    model = LoadedModel(FakePredictor(), model_record(), "")
    services = build_services(Settings(data_dir=data, database_url=url), model=model)
    sort = start(services)
    photo = take(services, sort)
    enter(services, sort, capture_id=photo.id)
    services.thumbs.read(str(photo.photo_name))
    assert _mode(data) == 0o700
    files = [database, *database.parent.glob("tallytare.sqlite3-*")]
    assert len(files) == 3
    assert {_mode(each) for each in files} == {0o600}
    kept = [each for each in data.rglob("*") if each.suffix == ".jpg"]
    assert len(kept) == 2
    assert {_mode(each) for each in kept} == {0o600}
    assert {_mode(each.parent) for each in kept} == {0o700}
    assert list(open_to_others(data)) == []
    services.close()


@pytest.mark.usefixtures("open_umask")
def test_a_folder_that_everybody_shares_is_left_as_it_is(tmp_path: Path) -> None:
    """With the sticky bit, as /tmp: other programs need it."""
    tmp_path.chmod(0o1777)
    make_private(tmp_path)
    assert _mode(tmp_path) == 0o1777
    write_private(tmp_path / "a", b"x")
    (tmp_path / "b").touch()
    assert list(open_to_others(tmp_path)) == [tmp_path, tmp_path / "b"]
