"""The set: a look for trouble, export, import, and agreement between people."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import shutil
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from classifier.errors import (
    ConflictError,
    DataFileError,
    InvalidEntryError,
    StorageError,
    UnknownIdError,
)
from classifier.log.records import SortInfo
from service.examples import agreement, reviews
from service.examples.export import COLUMNS, plan_set, set_files, write_set, write_zip, zip_chunks
from service.examples.importing import plan_import, run_import
from service.examples.pseudonyms import Pseudonyms, load_pseudonyms
from service.examples.survey import Survey, last_survey, running_since, survey
from service.model_cache import LoadedModel
from service.reports import usecases as reports
from service.services import Services
from service.settings import Settings
from service.sorting import captures, items
from service.store.example_rows import Wanted
from service.wiring import build_services
from tests.fakes import FakePredictor, jpeg, model_record, new_id
from tests.pictures import quartered
from tests.store.test_examples import confirmed, keeping_sort
from training.pictures.manifest import read_examples

CORNERS = {"food": 0, "garden": 1, "steel_cans": 2}


@pytest.fixture
def kept(services: Services) -> SortInfo:
    """Return a sort that keeps its photos for training."""
    return keeping_sort(services)


@pytest.fixture
def stores(
    tmp_path: Path, empty_store: Path, predictor: FakePredictor
) -> Iterator[Callable[[], Services]]:
    """Return what opens a new store of somebody else."""
    opened: list[Services] = []

    def another() -> Services:
        data = tmp_path / f"store-{len(opened)}"
        data.mkdir()
        shutil.copy(empty_store, data / "tallytare.sqlite3")
        model = LoadedModel(predictor, model_record(), "")
        opened.append(build_services(Settings(data_dir=data), model=model))
        return opened[-1]

    yield another
    for each in opened:
        each.close()


def see(predictor: FakePredictor, corner: int, object_: int, shot: int = 0) -> None:
    """Let the model see an object near a corner; two shots of it look alike."""
    random = np.random.default_rng(object_)
    vector = np.eye(24)[corner] * 6 + random.normal(0, 0.9, 24)
    vector += np.random.default_rng(1000 + object_ * 10 + shot).normal(0, 0.05, 24)
    predictor.embedding = tuple(vector)


def full(*_: object, **__: object) -> None:
    """Fail as a full disk does."""
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def fill(services: Services, sort: SortInfo, predictor: FakePredictor) -> list[str]:
    """Confirm 8 objects of 3 categories, two shots each; return the captures in order."""
    made = []
    for number in range(24):
        category = list(CORNERS)[number % 3]
        for shot in range(2):
            see(predictor, number % 3, number, shot)
            shade = 5 * (number * 2 + shot)
            made.append(confirmed(services, sort, category, shade=shade, who=("Ada", "Ben")[shot]))
    return made


def test_a_survey_finds_shots_of_one_object_doubts_and_gaps(
    services: Services, kept: SortInfo, predictor: FakePredictor
) -> None:
    made = fill(services, kept, predictor)
    see(predictor, CORNERS["garden"], 99)
    wrong = confirmed(services, kept, "food", shade=200)
    assert last_survey(services) is None
    found = survey(services)
    assert (found.photos, found.judged) == (49, 49)
    groups = [found.findings[each].group for each in made]
    assert groups[0::2] == groups[1::2] == made[0::2]
    assert len(set(groups)) == 24
    assert wrong in found.doubted()
    assert found.findings[wrong].doubt == "garden"
    assert {each.label: each.objects for each in found.balance.labels} == {
        "food": 9,
        "garden": 8,
        "steel_cans": 8,
    }
    assert all(each.thin and not each.refused for each in found.balance.labels)
    assert len(found.teaching()) == 25
    assert set(found.grouped()) == set(made)
    assert set(found.poor()) == {*made, wrong}  # 64 x 48 pixels of one colour
    assert last_survey(services) == found
    assert running_since(services) is None


def test_look_alikes_with_different_labels_are_named(
    services: Services, kept: SortInfo, predictor: FakePredictor
) -> None:
    see(predictor, 0, 1)
    one = confirmed(services, kept, "food", shade=30)
    see(predictor, 0, 1, shot=1)
    other = confirmed(services, kept, "garden", shade=60)
    found = survey(services)
    assert set(found.of_two_labels()) == {one, other}
    assert found.judged == 0
    assert "1 groups and 2 labels" in found.note


@pytest.mark.parametrize("step", ["open", "replace"])
def test_a_survey_on_a_full_disk_is_told(
    services: Services, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """Nothing is left over, and the next one is not held up."""
    with monkeypatch.context() as patched:
        patched.setattr(os, step, full)
        with pytest.raises(StorageError, match=r"No space left.*look again"):
            survey(services)
    assert list((services.settings.data_dir / "examples").iterdir()) == []
    assert survey(services) == last_survey(services)


def test_a_survey_of_nothing_and_a_damaged_one(services: Services) -> None:
    found = survey(services)
    assert isinstance(found, Survey)
    assert (found.photos, found.balance.labels) == (0, ())
    path = services.settings.data_dir / "examples" / "survey.json"
    path.write_text('{"findings": {}}')
    assert last_survey(services) is None


def test_one_survey_at_a_time(services: Services) -> None:
    lock = services.settings.data_dir / "examples" / "survey.running"
    lock.parent.mkdir(parents=True)
    lock.touch()
    assert running_since(services) is not None
    with pytest.raises(ConflictError, match="already"):
        survey(services)


def exported(services: Services, *, reviewed: bool = False) -> dict[str, bytes]:
    """Return the files of an export by path."""
    planned = plan_set(services, reviewed_only=reviewed)
    return {file.path: file.data for file in set_files(services, planned)}


def manifest(files: dict[str, bytes]) -> list[dict[str, str]]:
    """Return the rows of the manifest."""
    return list(csv.DictReader(io.StringIO(files["manifest.csv"].decode())))


def test_an_export_says_everything_of_each_photo_and_no_name(
    services: Services, kept: SortInfo, predictor: FakePredictor
) -> None:
    made = fill(services, kept, predictor)
    batch = {"sorter": "Eva", "note": "as Ada says"}
    reviews.review(
        services,
        batch_id=new_id(),
        capture_ids=made[:2],
        verdict="label",
        category="tissue",
        **batch,
    )
    reviews.review(services, batch_id=new_id(), capture_ids=made[2:3], verdict="two_items", **batch)
    files = exported(services)
    rows = manifest(files)
    assert tuple(rows[0]) == COLUMNS
    assert [row["path"] for row in rows] == [
        f"{'tissue' if n < 2 else list(CORNERS)[n // 2 % 3]}/{each}.jpg"
        for n, each in enumerate(made)
        if n != 2
    ]
    assert rows[0]["reviewed"] == "yes"
    assert rows[5]["reviewed"] == "no"
    assert rows[0]["label_history"].startswith("2026-05-01 confirmed food by person-")
    assert "; 2026-05-01 label tissue by person-" in rows[0]["label_history"]
    by_group: dict[str, set[str]] = {}
    for row in rows:
        by_group.setdefault(row["group"], set()).add(row["split"])
    assert all(len(splits) == 1 for splits in by_group.values())
    assert len(by_group) == 24
    text = b"".join(data for path, data in files.items() if not path.endswith(".jpg")).decode()
    for name in ("Ada", "Ben", "Eva", "Block C", kept.id):
        assert name not in text
    assert "## Motivation" in text
    assert "47 photographs of 24 different objects" in text
    assert "left out: 1 two_items" in text
    assert files == exported(services)
    assert len(manifest(exported(services, reviewed=True))) == 2


def test_a_datasheet_counts_one_as_one(services: Services, kept: SortInfo) -> None:
    one = confirmed(services, kept)
    reviews.review(
        services, batch_id=new_id(), capture_ids=[one], verdict="label", category="tissue"
    )
    text = exported(services)["DATASHEET.md"].decode()
    assert "1 photograph of 1 object, from 1 sort." in text
    assert "by 1 named sorter, with" in text
    assert "1 was reviewed afterwards, and\n1 has another label" in text
    assert "0 of the photographs were imported" in text


def test_coco_says_that_there_are_no_boxes(services: Services, kept: SortInfo) -> None:
    one = confirmed(services, kept)
    whole = json.loads(exported(services)["coco.json"])
    assert whole["annotations"] == []
    assert "no annotations" in whole["info"]["description"]
    (image,) = whole["images"]
    assert image["file_name"] == f"food/{one}.jpg"
    assert (image["width"], image["height"]) == (64, 48)
    assert whole["categories"][image["category_id"] - 1]["name"] == "food"


def test_training_takes_the_export_as_it_is(
    services: Services, kept: SortInfo, predictor: FakePredictor, tmp_path: Path
) -> None:
    fill(services, kept, predictor)
    planned = plan_set(services)
    assert write_set(services, tmp_path / "set", planned) == 48 + 3
    read = read_examples(tmp_path / "set")
    said = [(each.path.name, each.form, each.group, each.split) for each in read]
    assert said == [
        (Path(row.values["path"]).name, *(row.values[k] for k in ("label", "group", "split")))
        for row in planned.rows
    ]
    assert {each.source for each in read} == {"set"}
    with pytest.raises(InvalidEntryError, match="is not empty"):
        write_set(services, tmp_path / "set", planned)


def test_withdrawn_photos_are_in_no_export_not_even_one_under_way(
    services: Services, kept: SortInfo
) -> None:
    one, other = confirmed(services, kept, shade=30), confirmed(services, kept, shade=60)
    planned = plan_set(services)
    reviews.withdraw(services, request_id=new_id(), capture_ids=[one])
    files = {file.path: file.data for file in set_files(services, planned)}
    assert [row["path"] for row in manifest(files)] == [f"food/{other}.jpg"]
    assert f"food/{one}.jpg" not in files
    assert len(plan_set(services).rows) == 1


def test_a_zip_is_the_same_each_time_and_whole(services: Services, kept: SortInfo) -> None:
    confirmed(services, kept, shade=30)
    confirmed(services, kept, shade=60)
    made = [b"".join(zip_chunks(set_files(services, plan_set(services)))) for _ in range(2)]
    assert made[0] == made[1]
    with zipfile.ZipFile(io.BytesIO(made[0])) as archive:
        assert archive.testzip() is None
        assert {name: archive.read(name) for name in archive.namelist()} == exported(services)


def test_a_zip_that_the_disk_refuses_leaves_nothing(
    services: Services, kept: SortInfo, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither a ZIP that was cut off, nor a name that is taken the next time."""
    confirmed(services, kept)
    planned = plan_set(services)
    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", full)
        with pytest.raises(StorageError, match=r"No space left.*export again"):
            write_zip(services, tmp_path / "set.zip", planned)
    assert list(tmp_path.glob("*.zip")) == list(tmp_path.glob(".*")) == []
    write_zip(services, tmp_path / "set.zip", planned)
    with zipfile.ZipFile(tmp_path / "set.zip") as archive:
        assert archive.testzip() is None


def test_nothing_to_export_is_told(services: Services, kept: SortInfo) -> None:
    with pytest.raises(InvalidEntryError, match="there is no example to export"):
        plan_set(services)
    confirmed(services, kept)
    with pytest.raises(InvalidEntryError, match="and review them"):
        plan_set(services, reviewed_only=True)


def test_pseudonyms_hold_with_the_key_and_end_with_it(tmp_path: Path) -> None:
    first = load_pseudonyms(tmp_path).of("person", "Ada")
    assert load_pseudonyms(tmp_path).of("person", "Ada") == first
    assert first != load_pseudonyms(tmp_path).of("person", "Ben")
    (tmp_path / "examples" / "pseudonym.key").unlink()
    assert load_pseudonyms(tmp_path).of("person", "Ada") != first
    assert Pseudonyms(b"k").of("person", "") == ""


def test_an_empty_key_of_pseudonyms_is_no_key(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left by a power cut, anybody could work the pseudonyms out with it."""
    path = tmp_path / "examples" / "pseudonym.key"
    path.parent.mkdir()
    path.touch()
    made = load_pseudonyms(tmp_path).of("person", "Ada")
    assert made != Pseudonyms(b"").of("person", "Ada")
    assert (len(path.read_bytes()), load_pseudonyms(tmp_path).of("person", "Ada")) == (32, made)
    path.unlink()
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StorageError, match="key of the pseudonyms"):
        load_pseudonyms(tmp_path)
    assert list(path.parent.iterdir()) == []


def write_folder(root: Path) -> Path:
    """Write a folder as somebody else may have it."""
    for label, shades in {
        "food": (30, 40),
        "Steel cans": (50,),
        "drink can": (60,),
        "tins": (70, 75),
        "battery": (90,),
        "non_item": (80,),
    }.items():
        (root / label).mkdir(parents=True)
        for shade in shades:
            (root / label / f"{shade}.jpg").write_bytes(jpeg(shade))
    (root / "food" / "again.jpg").write_bytes(jpeg(30))
    (root / "food" / "list.jpg").write_bytes(b"milk, bread")
    (root / "food" / ".hidden").write_bytes(b"x")
    return root


def test_a_dry_run_says_what_would_happen_and_does_nothing(
    services: Services, tmp_path: Path
) -> None:
    plan = plan_import(services, write_folder(tmp_path / "theirs"))
    assert plan.labels == {"food": 2, "steel_cans": 1, "aluminium_cans": 1}
    assert plan.read_as == {
        "food": "food",
        "Steel cans": "steel_cans",
        "drink can": "aluminium_cans",
    }
    unknown = {each.label: each for each in plan.unknown}
    assert set(unknown) == {"tins", "battery"}
    assert unknown["tins"].pictures == 2
    assert unknown["battery"].nearest[0] == "batteries"
    assert "steel_cans" in unknown["tins"].nearest
    assert plan.left_out == {"non_item": 1}
    assert plan.duplicates == (("food/again.jpg", "food/30.jpg"),)
    ((path, why),) = plan.unreadable
    assert (path, "photo" in why) == ("food/list.jpg", True)
    assert services.log.examples(Wanted()) == ()
    with pytest.raises(InvalidEntryError, match="labels that are no category: tins, battery"):
        run_import(services, plan)


def test_an_import_counts_nowhere_but_among_the_examples(
    services: Services, sort: SortInfo, tmp_path: Path
) -> None:
    folder = write_folder(tmp_path / "theirs")
    ways: dict[str, Any] = {
        "renamed": {"tins": "steel_cans"},
        "leave_out": ["battery"],
        "source": "Their set",
    }
    plan = plan_import(services, folder, **ways)
    before = [each.id for each in services.log.list_sorts()]
    assert run_import(services, plan, sorter="Kim") == 6
    assert [each.id for each in services.log.list_sorts()] == before == [sort.id]
    reports.export(services, tmp_path / "out")
    assert len(list((tmp_path / "out" / "reports").glob("*.json"))) == 1
    found = services.log.examples(Wanted())
    assert len(found) == 6
    tin = next(each for each in found if each.origin and "tins/70.jpg" in each.origin)
    assert (tin.label, tin.sorter, tin.suggested) == ("steel_cans", "Kim", None)
    assert tin.origin is not None
    assert tin.origin.startswith("Their set/tins/70.jpg sha256:")
    assert reviews.get_example(services, tin.capture_id).history[0].note == "label tins"
    assert list(services.log.example_sets().values()) == ["Their set"]
    assert all(services.photos.has(each.photo_name) for each in found)
    again = plan_import(services, folder, **ways)
    assert again.new == ()
    assert len(again.duplicates) == 7
    assert plan_import(services, folder, leave_out=["battery"]).unknown == (), "tins are here"
    with pytest.raises(InvalidEntryError, match="nothing to import"):
        run_import(services, again)


def test_an_import_that_was_cut_off_is_finished(
    services: Services, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "theirs"
    (folder / "food").mkdir(parents=True)
    for shade in range(20, 26):
        (folder / "food" / f"{shade}.jpg").write_bytes(jpeg(shade * 4))
    monkeypatch.setattr("service.examples.importing._AT_ONCE", 2)
    portions: list[int] = []

    def cut(done: int, total: int) -> None:
        portions.append(total)
        if done == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_import(services, plan_import(services, folder), progress=cut)
    rest = plan_import(services, folder)
    assert (len(rest.new), len(rest.duplicates)) == (2, 4)
    assert run_import(services, rest) == 2
    assert len(services.log.example_sets()) == 1
    assert len(services.log.examples(Wanted())) == 6


def test_an_export_comes_in_elsewhere_with_its_groups(
    services: Services,
    kept: SortInfo,
    predictor: FakePredictor,
    tmp_path: Path,
    stores: Callable[[], Services],
) -> None:
    """In the store that it came from, every photo is there already, or was withdrawn."""
    fill(services, kept, predictor)
    write_set(services, tmp_path / "set", plan_set(services))
    here = plan_import(services, tmp_path / "set")
    assert (len(here.new), len(here.duplicates)) == (0, 48)
    lost = services.log.examples(Wanted())[0]
    services.photos.remove(lost.photo_name)
    here = plan_import(services, tmp_path / "set")
    assert [each.picture.file.stem for each in here.new] == [lost.capture_id], "it brings it back"
    reviews.withdraw(
        services,
        request_id=new_id(),
        capture_ids=reviews.withdrawable(services, sort_id=kept.id),
    )
    gone = plan_import(services, tmp_path / "set")
    assert gone.new == ()
    assert "no import brings it back" in gone.duplicates[0][1]
    other = stores()
    plan = plan_import(other, tmp_path / "set")
    assert len(plan.new) == 48
    assert run_import(other, plan) == 48
    groups = [each.object_group for each in other.log.examples(Wanted())]
    assert len(set(groups)) == 24
    assert None not in groups


def coarse(seed: int) -> bytes:
    """Return a photograph whose bytes change each time that it is saved again."""
    pixels = np.random.default_rng(seed).integers(0, 256, (192, 256, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG")
    return out.getvalue()


@pytest.mark.parametrize("listed", [True, False])
def test_what_was_withdrawn_comes_back_in_no_copy(
    services: Services,
    kept: SortInfo,
    tmp_path: Path,
    stores: Callable[[], Services],
    listed: bool,
) -> None:
    """Saved again by other stores under ids of their own: the manifest says what it was made from.

    Without it nobody can tell; an export of this store is known also under other names.
    """
    one, other = (
        captures.take_photo(services, sort_id=kept.id, capture_id=new_id(), data=coarse(seed)).id
        for seed in (1, 2)
    )
    for each in (one, other):
        items.confirm(services, item_id=new_id(), sort_id=kept.id, capture_id=each, category="food")
    write_set(services, tmp_path / "0", plan_set(services))
    for number, store in enumerate((stores(), stores()), 1):
        run_import(store, plan_import(store, tmp_path / f"{number - 1}"))
        write_set(store, tmp_path / f"{number}", plan_set(store))
    reviews.withdraw(services, request_id=new_id(), capture_ids=[one])
    (tmp_path / "0" / "food" / f"{one}.jpg").rename(tmp_path / "0" / "food" / "renamed.jpg")
    for number in range(3):
        if not listed or not number:
            (tmp_path / f"{number}" / "manifest.csv").unlink()
        found = plan_import(services, tmp_path / f"{number}").duplicates
        said = [why for _, why in found if "withdrawn from this store" in why]
        assert len(said) == (listed or not number)
    assert [each.capture_id for each in services.log.examples(Wanted())] == [other]


def test_a_withdrawn_photo_that_was_imported_is_told_as_withdrawn(
    services: Services, tmp_path: Path
) -> None:
    (tmp_path / "set" / "food").mkdir(parents=True)
    for shade in (30, 90):
        (tmp_path / "set" / "food" / f"{shade}.jpg").write_bytes(jpeg(shade))
    run_import(services, plan_import(services, tmp_path / "set"))
    (one,) = (
        each for each in services.log.examples(Wanted()) if "food/30.jpg" in (each.origin or "")
    )
    reviews.withdraw(services, request_id=new_id(), capture_ids=[one.capture_id])
    assert plan_import(services, tmp_path / "set").duplicates == (
        ("food/30.jpg", "withdrawn from this store; no import brings it back"),
        ("food/90.jpg", "imported from set/food/90.jpg"),
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("path,kind\na.jpg,food\n", "needs the columns path and label; it has path, kind"),
        ("path,label\n../a.jpg,food\n", "line 2: path '../a.jpg' leads out of the folder"),
        ("path,label\n,food\n", "line 2: path '' leads out of the folder"),
    ],
)
def test_manifests_that_cannot_be_followed(
    services: Services, tmp_path: Path, text: str, message: str
) -> None:
    (tmp_path / "manifest.csv").write_text(text)
    with pytest.raises(DataFileError, match=message):
        plan_import(services, tmp_path)


@pytest.mark.parametrize(
    "text", ["path;label\r\ntins\\a.jpg;food\r\n", "Path,Label\ntins/a.jpg,food\ntins/a.jpg,food\n"]
)
def test_manifests_are_read_as_spreadsheets_write_them(
    services: Services, tmp_path: Path, text: str
) -> None:
    (tmp_path / "tins").mkdir()
    (tmp_path / "tins" / "a.jpg").write_bytes(jpeg())
    (tmp_path / "manifest.csv").write_bytes(text.encode("utf-8-sig"))
    plan = plan_import(services, tmp_path)
    assert plan.labels == {"food": 1}
    assert plan.unreadable == ()


def test_folders_that_hold_nothing(services: Services, tmp_path: Path) -> None:
    with pytest.raises(InvalidEntryError, match="is no folder"):
        plan_import(services, tmp_path / "none")
    (tmp_path / "empty").mkdir()
    with pytest.raises(InvalidEntryError, match="holds no labelled picture"):
        plan_import(services, tmp_path / "empty")
    write_folder(tmp_path / "theirs")
    with pytest.raises(UnknownIdError):
        plan_import(services, tmp_path / "theirs", renamed={"tins": "gold"})


def opinion(services: Services, capture_id: str, category: str, who: str) -> None:
    """Give a second opinion."""
    agreement.give_second_opinion(
        services, review_id=new_id(), capture_id=capture_id, category=category, sorter=who
    )


def test_an_imported_label_is_no_blind_one(
    services: Services, kept: SortInfo, tmp_path: Path
) -> None:
    """Who knows what was in sight where it was given."""
    confirmed(services, kept)
    write_set(services, tmp_path / "set", plan_set(services))
    for file in (tmp_path / "set" / "food").iterdir():
        file.rename(file.with_name("theirs.jpg"))
    (tmp_path / "set" / "manifest.csv").unlink()
    run_import(services, plan_import(services, tmp_path / "set"), sorter="Dan")
    (imported,) = (each for each in services.log.examples(Wanted()) if each.origin is not None)
    opinion(services, imported.capture_id, "food", "Ben")
    assert agreement.agreement(services).photos == 0
    opinion(services, imported.capture_id, "food", "Cy")
    found = agreement.agreement(services)
    assert (found.photos, found.people) == (1, ("Ben", "Cy"))


def test_agreement_counts_second_opinions_and_no_confirmed_suggestions(
    services: Services, kept: SortInfo
) -> None:
    """Ada saw the suggestion: only Ben's and Cy's labels are pairs."""
    made = [confirmed(services, kept, shade=20 + n) for n in range(6)]
    empty = agreement.agreement(services)
    assert (empty.photos, empty.alpha) == (0, None)
    assert "at least 2 are needed" in empty.why_not
    for number, each in enumerate(made):
        opinion(services, each, "food" if number < 3 else "garden", "Ben")
    assert agreement.agreement(services).photos == 0
    for number, each in enumerate(made):
        opinion(services, each, "food" if number < 4 else "garden", "Cy")
    found = agreement.agreement(services)
    assert (found.photos, found.people) == (6, ("Ben", "Cy"))
    (pair,) = found.pairs
    assert (pair.photos, pair.agreed) == (6, 5)
    assert pair.kappa is not None
    assert pair.kappa.value == pytest.approx(2 / 3)
    assert found.alpha is not None
    assert found.fleiss is not None
    assert found.alpha.low <= found.alpha.value <= found.alpha.high
    assert found.band in ("moderate", "substantial")
    assert [each.labels for each in found.disagreements] == [{"Ben": "garden", "Cy": "food"}]
    assert {each.label for each in services.log.examples(Wanted())} == {"food"}


def test_who_labelled_a_photo_gives_no_second_opinion_on_it(
    services: Services, kept: SortInfo
) -> None:
    one = confirmed(services, kept, who="Ada")
    with pytest.raises(ConflictError, match="Ada has labelled this photo before"):
        opinion(services, one, "food", "Ada")
    with pytest.raises(InvalidEntryError, match="needs the name"):
        opinion(services, one, "food", " ")
    with pytest.raises(UnknownIdError):
        opinion(services, one, "gold", "Ben")
    found, waiting = agreement.next_for_second_opinion(services, sorter="Ben")
    assert found is not None
    assert (found.capture_id, waiting) == (one, 1)
    assert agreement.next_for_second_opinion(services, sorter="Ada") == (None, 0)
    opinion(services, one, agreement.CANT_TELL, "Ben")
    assert agreement.next_for_second_opinion(services, sorter="Ben") == (None, 0)


def test_a_photo_that_can_make_a_pair_comes_first(services: Services, kept: SortInfo) -> None:
    made = [confirmed(services, kept, shade=20 + n) for n in range(8)]
    opinion(services, made[5], "food", "Ben")
    found, _ = agreement.next_for_second_opinion(services, sorter="Cy")
    assert found is not None
    assert found.capture_id == made[5]


def test_pictures_of_the_store_stay_upright_and_small(services: Services, kept: SortInfo) -> None:
    """A thumbnail has the photo's shape and at most 256 px."""
    out = io.BytesIO()
    quartered(800, 600).save(out, "JPEG")
    capture = captures.take_photo(
        services, sort_id=kept.id, capture_id=new_id(), data=out.getvalue()
    )
    assert capture.photo_name is not None
    look = services.thumbs.look(capture.photo_name)
    assert look.grey.shape == (192, 256)
    assert look.short_side_px == 600
