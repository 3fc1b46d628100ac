"""`tallytare evaluate --against`: two bundles on the same pictures, with bundles made in code."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from classifier.estimators.paired import mcnemar_exact
from tests.tiny_bundle import FORMS, manifest_content, photo_of, write_tiny_bundle
from training.commands import evaluate_command

SWAPPED = {"drink_can": "food", "food": "drink_can", "glass_bottle": "food_can",
           "food_can": "glass_bottle"}  # fmt: skip


def write_pictures(folder: Path, forms: dict[str, int], *, groups: int = 4) -> Path:
    """Write `forms[form]` pictures of each form, dealt out to a few groups."""
    folder.mkdir()
    with (folder / "manifest.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(("path", "source", "form", "group"))
        for form, count in forms.items():
            for number in range(count):
                name = f"{form}_{number}.jpg"
                (folder / name).write_bytes(photo_of(form, seed=number))
                writer.writerow((name, "hall", form, f"{form}-{number % groups}"))
    return folder


@pytest.fixture(scope="module")
def bundles(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Return one that is right, and one that mixes up two pairs of forms."""
    folder = tmp_path_factory.mktemp("bundles")
    right = write_tiny_bundle(folder / "right")
    forms = [
        {"id": name, "name": name, "categories": FORMS[name][1]}
        for name in (SWAPPED.get(form["id"], form["id"]) for form in manifest_content()["forms"])
    ]
    return [str(right), str(write_tiny_bundle(folder / "mixed", name="mixed", forms=forms))]


def test_a_pair_as_json_and_as_table(
    bundles: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    counts = {"drink_can": 8, "glass_bottle": 4, "textile": 8, "non_item": 3}
    data = write_pictures(tmp_path / "data", counts)
    (data / "textile_7.jpg").write_bytes(b"no picture")
    arguments = [str(data), "--bundle", bundles[0], "--against", bundles[1]]
    assert evaluate_command([*arguments, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert (result["first"]["bundle"], result["second"]["bundle"]) == ("tiny", "mixed")
    assert (result["pictures"], result["groups"], result["other_pictures"]) == (19, 12, 4)
    form = result["form"]
    assert (form["both"], form["only_first"], form["only_second"], form["neither"]) == (7, 12, 0, 0)
    assert form["first"]["value"] == 1
    assert form["difference"]["value"] == pytest.approx(12 / 19, abs=5e-5)
    assert form["difference"]["low"] < 12 / 19 < form["difference"]["high"]
    assert form["p_value"] == mcnemar_exact(12, 0)
    # A bottle taken for a food can goes to kerbside all the same; a can taken for food does not.
    assert result["route"]["only_first"] == 8
    (skipped,) = result["skipped"]
    assert "textile_7.jpg" in skipped
    assert evaluate_command(arguments) == 0
    table = capsys.readouterr().out
    assert "| form | 1.000 (1.000 to 1.000) | 0.368 (" in table
    assert "| +0.632 (" in table
    assert "19 pictures of items in 12 groups; left out: 4 (" in table
    assert skipped in table


def test_a_bundle_against_itself(
    bundles: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = write_pictures(tmp_path / "data", {"drink_can": 4})
    arguments = [str(data), "--bundle", bundles[1], "--against", bundles[1], "--json"]
    assert evaluate_command(arguments) == 0
    form = json.loads(capsys.readouterr().out)["form"]
    assert form["difference"] == {"value": 0, "low": 0, "high": 0}
    assert form["p_value"] == 1


def test_a_bundle_on_pictures_that_taught_it_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = {"name": "hall", "licence": "ours", "pictures": 4}
    taught = {"command": "by hand", "recipe": "none", "sources": [source]}
    bundle = str(write_tiny_bundle(tmp_path / "taught", training=taught))
    strange = str(write_tiny_bundle(tmp_path / "strange", name="strange"))
    data = write_pictures(tmp_path / "data", {"drink_can": 4, "food": 4})
    for arguments in ([], ["--against", strange]):
        assert evaluate_command([str(data), "--bundle", bundle, *arguments]) == 0
        said = capsys.readouterr().out
        assert "tiny learned from pictures of hall: where these are among them" in said
        assert "strange learned" not in said
    listing = data / "manifest.csv"
    lines = listing.read_text().splitlines()
    listing.write_text("\n".join([f"{lines[0]},split", *(f"{line},test" for line in lines[1:])]))
    assert evaluate_command([str(data), "--bundle", bundle, "--split", "test"]) == 0
    assert "learned from" not in capsys.readouterr().out


def test_what_a_comparison_refuses(
    bundles: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    strange = write_pictures(tmp_path / "strange", {"non_item": 2})
    assert evaluate_command([str(strange), "--bundle", bundles[0], "--against", bundles[1]]) == 1
    assert "no picture of a form that both bundles know: " in capsys.readouterr().err
    alone = write_pictures(tmp_path / "alone", {"drink_can": 3}, groups=1)
    assert evaluate_command([str(alone), "--bundle", bundles[0], "--against", bundles[1]]) == 1
    assert "all pictures are of one group" in capsys.readouterr().err
