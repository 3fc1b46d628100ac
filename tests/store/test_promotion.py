"""Promote and roll back: in every process, at the next photo, whatever goes wrong in between."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from classifier.errors import BundleError, ConflictError, UnknownIdError
from classifier.log.records import SortInfo
from service.bundles import usecases as bundles
from service.bundles.registry import BundleRegistry
from service.keeping.upkeep import health
from service.services import Services
from service.settings import Settings
from service.sorting import captures
from service.sorting.captures import CaptureView
from service.wiring import build_services
from tests.fakes import new_id
from tests.store.entries import enter, start, take
from tests.tiny_bundle import manifest_content, photo_of, write_tiny_bundle


@pytest.fixture
def first(tmp_path: Path) -> Path:
    """Return the bundle that the settings name."""
    return write_tiny_bundle(tmp_path / "first", version="1")


@pytest.fixture
def second(tmp_path: Path) -> Path:
    """Return a newer bundle, as somebody else made it."""
    return write_tiny_bundle(tmp_path / "second", version="2")


@pytest.fixture
def one(settings: Settings, first: Path) -> Iterator[Services]:
    """Return the services of one process, with a real model."""
    yield from _process(settings, first)


@pytest.fixture
def other(settings: Settings, first: Path) -> Iterator[Services]:
    """Return those of another process on the same store."""
    yield from _process(settings, first)


def _process(settings: Settings, bundle: Path) -> Iterator[Services]:
    built = build_services(settings.model_copy(update={"bundle": str(bundle)}))
    yield built
    built.close()


@pytest.fixture
def lot(one: Services) -> SortInfo:
    """Return a sort."""
    return start(one)


def shoot(services: Services, sort: SortInfo) -> CaptureView:
    return take(services, sort, data=photo_of("food_can"))


def version(view: CaptureView) -> str:
    assert view.model is not None
    return view.model.version


def promote(services: Services, bundle: Path) -> bundles.BundlesView:
    return bundles.promote(services, promotion_id=new_id(), bundle=str(bundle), paths=True)


def test_every_process_takes_it_up_at_the_next_photo(
    one: Services, other: Services, lot: SortInfo, second: Path
) -> None:
    before = shoot(other, lot)
    view = promote(one, second)
    assert view.answering == "tiny 2"
    assert [version(shoot(each, lot)) for each in (one, other)] == ["2", "2"]
    assert bundles.roll_back(other, promotion_id=new_id(), sorter="Ada").answering == "tiny 1"
    assert version(shoot(one, lot)) == "1"
    assert version(captures.get_capture(one, before.id)) == "1"


def test_each_photo_keeps_the_version_that_answered_it(
    one: Services, lot: SortInfo, second: Path
) -> None:
    old = shoot(one, lot)
    promote(one, second)
    new = shoot(one, lot)
    assert [version(captures.get_capture(one, each.id)) for each in (old, new)] == ["1", "2"]
    items = [enter(one, lot, "steel_cans", capture_id=each.id).item for each in (old, new)]
    assert [item.model_version for item in items] == ["tiny 1", "tiny 2"]


def test_a_process_that_starts_later_answers_with_the_promoted_bundle(
    one: Services, settings: Settings, lot: SortInfo, first: Path, second: Path
) -> None:
    promote(one, second)
    shutil.rmtree(second)  # what counts is the copy in the data folder
    for later in _process(settings, first):
        assert later.model is not None
        assert version(shoot(later, lot)) == "2"


def _damaged(bundle: Path) -> None:
    network = bundle / "network.onnx"
    network.write_bytes(network.read_bytes()[:-1] + b"\0")


def _unknown_category(bundle: Path) -> None:
    forms = manifest_content()["forms"]
    forms[0]["categories"] = {"moon_rock": 1.0}
    write_tiny_bundle(bundle, version="2", forms=forms)


def _no_manifest(bundle: Path) -> None:
    (bundle / "bundle.json").unlink()


@pytest.mark.parametrize("spoil", [_damaged, _unknown_category, _no_manifest])
def test_what_can_not_be_used_is_refused_and_the_old_one_goes_on(
    one: Services, lot: SortInfo, second: Path, spoil: object
) -> None:
    assert callable(spoil)
    spoil(second)
    with pytest.raises(BundleError):
        promote(one, second)
    assert one.log.list_promotions() == ()
    assert not [*one.settings.bundles_dir.glob("[!.]*")]
    assert version(shoot(one, lot)) == "1"


def test_a_copy_that_is_damaged_later_leaves_what_answers(
    one: Services, other: Services, lot: SortInfo, second: Path, caplog: pytest.LogCaptureFixture
) -> None:
    promoted = promote(one, second).promoted
    copy = one.settings.bundles_dir / promoted
    _damaged(copy)
    assert version(shoot(other, lot)) == "1"
    assert "damaged or replaced" in caplog.text
    assert "promoted bundle" in health(other).problems[0]
    assert version(shoot(one, lot)) == "2"  # it had been loaded whole
    assert promote(other, second).promoted == promoted  # repairs the copy; nothing new to record
    assert (copy / "network.onnx").read_bytes() == (second / "network.onnx").read_bytes()


def test_a_start_with_a_damaged_copy_falls_back_on_the_settings(
    one: Services, settings: Settings, lot: SortInfo, first: Path, second: Path
) -> None:
    _damaged(one.settings.bundles_dir / promote(one, second).promoted)
    for later in _process(settings, first):
        assert version(shoot(later, lot)) == "1"
        assert health(later).problems


def test_going_back_goes_further_back_each_time(
    one: Services, second: Path, tmp_path: Path
) -> None:
    third = write_tiny_bundle(tmp_path / "third", version="3")
    promote(one, second)
    promote(one, third)
    answers = [
        bundles.roll_back(one, promotion_id=new_id()).answering for _ in ("to the second", "first")
    ]
    assert answers == ["tiny 2", "tiny 1"]
    with pytest.raises(ConflictError, match="no earlier model"):
        bundles.roll_back(one, promotion_id=new_id())
    assert len(one.log.list_promotions()) == 4


def test_a_resend_changes_nothing(one: Services, second: Path) -> None:
    promotion = new_id()
    for _ in range(2):
        view = bundles.promote(one, promotion_id=promotion, bundle=str(second), paths=True)
    assert len(view.history) == 1
    back = new_id()
    for _ in range(2):
        view = bundles.roll_back(one, promotion_id=back)
    assert (len(view.history), view.promoted) == (2, "")


def test_no_path_from_a_client_is_followed(one: Services, second: Path) -> None:
    for wanted in (str(second), "../second", "..", ""):
        with pytest.raises(UnknownIdError, match="there is no bundle"):
            bundles.promote(one, promotion_id=new_id(), bundle=wanted)
    installed = promote(one, second).promoted
    bundles.roll_back(one, promotion_id=new_id())
    assert bundles.promote(one, promotion_id=new_id(), bundle=installed).answering == "tiny 2"


def test_the_copy_holds_what_the_manifest_names_and_no_more(one: Services, second: Path) -> None:
    (second / "run_me.py").write_text("1 / 0")
    copy = one.settings.bundles_dir / promote(one, second).promoted
    assert {path.name for path in copy.iterdir()} == {"bundle.json", "CARD.md", "network.onnx"}
    digest = json.loads((copy / "bundle.json").read_text())["network"]["sha256"]
    assert len(digest) == 64
    assert copy.name.startswith("tiny-2-")


def test_left_overs_of_a_broken_promotion_are_swept_and_never_listed(
    one: Services, second: Path
) -> None:
    left = one.settings.bundles_dir / ".unfinished-1"
    shutil.copytree(second, left)
    os.utime(left, (1, 1))
    assert not [each for each in one.models.registry.bundles() if not each.shipped]
    promote(one, second)
    assert not left.exists()


_KILLED = """
import sys
from pathlib import Path
import service.bundles.folder as folder
from service.settings import Settings
from service.bundles import usecases as bundles
from service.wiring import build_services

written = folder.write_synced
step = int(sys.argv[4])

def dies(target, data):
    global step
    step -= 1
    if step == 0:
        import os, signal
        target.write_bytes(data[:100])
        os.kill(os.getpid(), signal.SIGKILL)
    written(target, data)

folder.write_synced = dies
built = build_services(
    Settings(data_dir=Path(sys.argv[1]), bundle=sys.argv[2], database_url=sys.argv[5])
)
if step == 4:
    from service.store.promotion_log import PromotionLog
    def add(*_):
        import os, signal
        os.kill(os.getpid(), signal.SIGKILL)
    PromotionLog.add_promotion = add
bundles.promote(
    built, promotion_id="7f0c2d0e-2f7b-4c58-9a51-0d6f6f9b7c11", bundle=sys.argv[3], paths=True
)
"""


@pytest.mark.skipif("sys.platform == 'win32'", reason="no SIGKILL on Windows")
@pytest.mark.parametrize("step", [2, 4], ids=["while copying", "before the row"])
def test_killed_while_promoting(
    one: Services, settings: Settings, lot: SortInfo, first: Path, second: Path, step: int
) -> None:
    arguments = [str(settings.data_dir), str(first), str(second), str(step)]
    arguments.append(settings.database_url)
    ended = subprocess.run([sys.executable, "-c", _KILLED, *arguments], check=False, timeout=60)
    assert ended.returncode == -signal.SIGKILL
    for later in _process(settings, first):
        assert version(shoot(later, lot)) == "1"
        assert promote(later, second).answering == "tiny 2"
    assert version(shoot(one, lot)) == "2"


def test_a_shipped_bundle_has_a_name_of_its_own(tmp_path: Path) -> None:
    registry = BundleRegistry(tmp_path / "bundles", start="", category_ids=frozenset())
    assert {"household", "household_open"} <= {each.name for each in registry.bundles()}
