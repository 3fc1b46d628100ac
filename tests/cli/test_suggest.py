"""`tallytare suggest` on good and bad files, for people and for programs."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path
from typing import Any

import pytest

from service.cli import progress
from service.cli.bulk_file import BulkFile
from service.cli.suggest import Suggester
from tests import pictures
from tests.cli.conftest import Run
from tests.tiny_bundle import (
    FORMS,
    manifest_content,
    photo_of,
    unsure_photo,
    write_tiny_bundle,
)

KEYS = {
    "file",
    "forms",
    "categories",
    "decision",
    "route",
    "question",
    "cautions",
    "check",
    "alternatives",
    "facts",
    "model",
    "categories_version",
    "programme",
    "error",
}


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    """A folder with a photo of each form and one that nobody can tell."""
    folder = tmp_path / "photos"
    folder.mkdir()
    for form in FORMS:
        (folder / f"{form}.jpg").write_bytes(photo_of(form))
    (folder / "unsure.jpg").write_bytes(unsure_photo())
    return folder


def lines(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_json_is_one_object_a_line(run: Run, photos: Path) -> None:
    ran = run("suggest", "--json", photos / "food.jpg", photos / "broken_glass.jpg")
    assert ran.code == 0
    food, glass = lines(ran.out)
    assert set(food) == set(glass) == KEYS
    assert food["file"] == str(photos / "food.jpg")
    assert food["forms"][0]["id"] == "food"
    assert {form["id"] for form in food["forms"]} == set(FORMS)
    assert food["categories"][0]["id"] == "food"
    assert food["decision"] == "route"
    assert food["route"]["id"] == "organics"
    assert food["model"] == {"name": "tiny", "version": "0.1.0"}
    assert food["programme"]["id"] == "alder_valley"
    assert "Follow your local authority" in food["programme"]["statement"]
    assert food["error"] is None
    assert glass["decision"] == "stop"
    assert glass["cautions"]


def test_decisions(run: Run, photos: Path) -> None:
    found = {
        Path(each["file"]).stem: each["decision"]
        for each in lines(run("suggest", "--json", photos).out)
    }
    assert found["non_item"] == "not_an_item"
    assert found["clear_plastic_bottle"] == "ask"
    assert found["unsure"] in ("unsure", "ask")
    assert found["corrugated_cardboard"] == "route"
    assert found["battery_electronics"] == "stop"


def test_a_fact_settles_a_question(run: Run, photos: Path) -> None:
    photo = photos / "clear_plastic_bottle.jpg"
    asked = lines(run("suggest", "--json", photo).out)[0]
    assert asked["question"]["fact"] == "deposit_mark"
    stated = lines(run("suggest", "--json", "--fact", "deposit_mark=yes", photo).out)[0]
    assert stated["route"]["id"] == "deposit_return"
    unsure = lines(run("suggest", "--json", "--fact", "deposit_mark=not_sure", photo).out)[0]
    assert unsure["question"] is None or unsure["question"]["fact"] != "deposit_mark"


def test_another_programme_leads_elsewhere(run: Run, photos: Path) -> None:
    photo = photos / "garden.jpg"
    there = lines(run("suggest", "--json", "--programme", "port_sable", photo).out)[0]
    here = lines(run("suggest", "--json", photo).out)[0]
    assert there["programme"]["id"] == "port_sable"
    assert there["route"]["id"] != here["route"]["id"]


def test_a_folder_is_searched_in_the_order_of_names(run: Run, photos: Path) -> None:
    inner = photos / "more"
    inner.mkdir()
    (inner / "a.JPEG").write_bytes(photo_of("food"))
    (photos / "notes.txt").write_text("not a photo")
    (photos / ".hidden.jpg").write_bytes(photo_of("food"))
    (photos / ".cache").mkdir()
    (photos / ".cache" / "thumb.jpg").write_bytes(photo_of("food"))
    ran = run("suggest", "--json", photos)
    files = [Path(each["file"]) for each in lines(ran.out)]
    assert files == sorted(files)
    assert len(files) == len(FORMS) + 2
    assert inner / "a.JPEG" in files


def test_unreadable_files_are_told_and_the_others_go_on(run: Run, photos: Path) -> None:
    text, cut = photos / "text.jpg", photos / "cut.jpg"
    text.write_bytes(pictures.text_as_jpeg())
    cut.write_bytes(pictures.truncated_jpeg())
    ran = run("suggest", "--json", text, photos / "food.jpg", cut, photos / "gone.jpg")
    assert ran.code == 1
    bad, good, broken, gone = lines(ran.out)
    assert good["decision"] == "route"
    assert {bad["decision"], broken["decision"], gone["decision"]} == {"error"}
    assert set(bad) == KEYS
    assert bad["error"]["code"] == "unreadable_photo"
    assert "is text" in bad["error"]["message"]
    assert "breaks off" in broken["error"]["message"]
    assert "no such file" in gone["error"]["message"]


def test_a_folder_without_photos_is_told(run: Run, tmp_path: Path) -> None:
    ran = run("suggest", "--json", tmp_path)
    assert ran.code == 1
    assert "the folder holds no photograph" in lines(ran.out)[0]["error"]["message"]


def test_a_large_file_is_refused_unread(
    run: Run, photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TALLYTARE_MAX_UPLOAD_BYTES", "20000")
    large = photos / "large.jpg"
    large.write_bytes(photo_of("food") + bytes(30_000))
    ran = run("suggest", "--json", large)
    assert ran.code == 1
    assert lines(ran.out)[0]["error"]["code"] == "photo_too_large"


def test_the_pixel_limit_of_the_settings_holds(
    run: Run, photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TALLYTARE_MAX_PIXELS", "10000")
    wide = photos / "wide.png"
    wide.write_bytes(pictures.png_header(200, 100))
    error = lines(run("suggest", "--json", wide).out)[0]["error"]
    assert error["code"] == "photo_too_large"


@pytest.mark.skipif("sys.platform == 'win32'", reason="names are not bytes on Windows")
def test_a_name_that_is_no_text_is_no_obstacle(run: Run, photos: Path) -> None:
    odd = os.fsdecode(os.fsencode(photos) + b"/caf\xe9.jpg")
    Path(odd).write_bytes(photo_of("food"))
    assert lines(run("suggest", "--json", odd).out)[0]["decision"] == "route"
    assert run("suggest", odd).code == 0


def test_table_for_people(run: Run, photos: Path) -> None:
    (photos / "zz_text.jpg").write_bytes(pictures.text_as_jpeg())
    ran = run("suggest", photos)
    assert ran.code == 1
    rows = {line.split()[0]: line for line in ran.out.splitlines() if ".jpg" in line[:30]}
    assert "Food and organics collection" in rows["food.jpg"]
    assert "100%" in rows["food.jpg"]
    assert "(no item)" in rows["non_item.jpg"]
    assert "STOP. Set it aside" in rows["broken_glass.jpg"]
    assert "--fact" in ran.out
    assert "Caution [1]" not in ran.out
    assert "(not read)" in rows["zz_text.jpg"]
    assert "Alder Valley, valid from 1 January 2026. Follow your local authority" in ran.out
    assert "model tiny 0.1.0" in ran.out
    assert "1 of 19 files could not be read." in ran.out


def test_a_hazard_too_unlikely_to_stop_for_is_told_below_the_table(
    run: Run, photos: Path, tmp_path: Path
) -> None:
    content = manifest_content()
    for form in content["forms"]:
        if form["id"] == "food":
            form["categories"] = {"food": 0.9, "sharps": 0.1}
    bundle = write_tiny_bundle(tmp_path / "wary", forms=content["forms"])
    out = run("suggest", photos / "food.jpg", "--bundle", bundle).out
    assert "Caution [1]" in out
    assert "\n[1] Stop. Needles and blades" in out


def test_bar_on_standard_error_when_it_takes_long(
    run: Run, photos: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "photo" not in run("suggest", "--json", photos).err
    monkeypatch.setattr(progress, "PATIENCE_S", 0.0)
    ran = run("suggest", "--json", photos)
    assert "photo" in ran.err
    assert len(lines(ran.out)) == len(FORMS) + 1


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["suggest"], "Missing argument"),
        (["suggest", "x.jpg", "--colour"], "No such option"),
        (["suggest", "x.jpg", "--programme", "atlantis"], "no programme 'atlantis'; allowed: ald"),
        (["suggest", "x.jpg", "--fact", "resin"], "--fact 'resin' is no fact; allowed: ID=ANSWER"),
        (["suggest", "x.jpg", "--fact", "smell=bad"], 'no fact is called "smell"'),
        (["suggest", "x.jpg", "--fact", "resin=9"], '"9" is no answer to'),
        (["sugest", "x.jpg"], "No such command 'sugest'"),
    ],
)
def test_wrong_arguments_end_with_two(run: Run, arguments: list[str], message: str) -> None:
    ran = run(*arguments)
    assert ran.code == 2
    assert message in ran.said
    assert ran.out == ""


def test_wrong_setting_ends_with_two(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TALLYTARE_MAX_PIXELS", "many")
    ran = run("suggest", "x.jpg")
    assert ran.code == 2
    assert "TALLYTARE_MAX_PIXELS is 'many'" in ran.said


def test_programme_file_with_a_typo_is_named_with_its_line(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "here.toml"
    file.write_text('id = "here"\nnmae = "Here"\n')
    ran = run("suggest", "x.jpg", "--programme", file)
    assert ran.code == 1
    assert 'here.toml, line 2: unknown key "nmae"' in ran.err


def test_missing_bundle_is_told(run: Run) -> None:
    ran = run("suggest", "x.jpg", "--bundle", "nowhere")
    assert ran.code == 1
    assert ran.err.startswith("tallytare: bundle 'nowhere' is neither a shipped bundle nor a dire")


def test_damaged_bundle_is_told(run: Run, tmp_path: Path) -> None:
    network = write_tiny_bundle(tmp_path / "hurt") / "network.onnx"
    network.write_bytes(network.read_bytes()[:-1])
    ran = run("suggest", "x.jpg", "--bundle", network.parent)
    assert ran.code == 1
    assert "network.onnx: damaged or replaced" in ran.err


@pytest.mark.parametrize("name", ["out.jsonl", "out.csv"])
def test_a_stopped_run_goes_on_where_it_was(
    run: Run, photos: Path, tmp_path: Path, name: str
) -> None:
    (photos / "zz_text.jpg").write_bytes(pictures.text_as_jpeg())
    whole, cut = tmp_path / name, tmp_path / f"cut_{name}"
    assert run("suggest", photos, "--output", whole).code == 1  # one file can't be read
    content = whole.read_bytes()
    rows = content.splitlines(keepends=True)
    assert len(rows) == len(FORMS) + 2 + name.endswith("csv")
    for kept in (0, len(rows[0]), sum(map(len, rows[:7])), sum(map(len, rows[:7])) + 40):
        cut.write_bytes(content[:kept])  # the last ends within a line
        ran = run("suggest", photos, "-o", cut)
        assert cut.read_bytes() == content
        assert ("were done before" in ran.err) == (
            kept > len(rows[0]) or (kept > 0 and "json" in name)
        )
    again = run("suggest", photos, "-o", cut)
    assert again.code == 0  # what can't be read was named before
    assert cut.read_bytes() == content


def test_an_output_under_another_programme_or_model_is_refused(
    run: Run, photos: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.jsonl"
    photo = photos / "food.jpg"
    run("suggest", photo, "-o", out)
    content = out.read_bytes()
    for changed in (["--programme", "port_sable"], ["--fact", "clean=yes"]):
        ran = run("suggest", photos, "-o", out, *changed)
        assert ran.code == 1
        assert "give --output another name" in ran.err
    assert out.read_bytes() == content
    out.write_text("a shopping list\n")
    assert "something else than suggestions" in run("suggest", photo, "-o", out).err


def test_csv_has_no_formula(
    run: Run, photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    odd = photos / "=1+1.jpg"
    odd.write_bytes(photo_of("food"))
    out = tmp_path / "out.csv"
    monkeypatch.chdir(photos)
    for _ in range(2):
        run("suggest", odd.name, "-o", out)
    head, row = out.read_text().splitlines()
    assert head.startswith("file,decision,category,p,second,second_p,route")
    assert row.startswith("'=1+1.jpg,route,food,")


def test_fast_takes_the_small_model(run: Run, photos: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    ran = run("suggest", photos / "food.jpg", "-o", out, "--fast", "--bundle", "")
    assert ran.code == 0
    (line,) = lines(out.read_text())
    assert line["model"]["name"] == "household_small"
    both = run("suggest", photos / "food.jpg", "--fast", "--bundle", "household")
    assert both.code == 2
    assert "--fast means --bundle household_small" in both.err


def test_photos_are_looked_at_a_few_ahead_only(
    run: Run, photos: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Memory stays flat: what waits to be written is bounded."""
    read, most = 0, 0
    written = BulkFile.add
    looked = Suggester.look_at

    def look_at(self: Suggester, path: Path) -> Any:
        nonlocal read
        read += 1
        return looked(self, path)

    def add(self: BulkFile, answer: Any) -> None:
        nonlocal read, most
        most = max(most, read)
        read -= 1
        time.sleep(0.01)
        written(self, answer)

    monkeypatch.setattr(Suggester, "look_at", look_at)
    monkeypatch.setattr(BulkFile, "add", add)
    monkeypatch.setenv("TALLYTARE_INFERENCE_CONCURRENCY", "1")
    run("suggest", photos, "-o", tmp_path / "out.jsonl")
    assert most <= 6
