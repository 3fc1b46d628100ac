"""`tallytare train` and `tallytare evaluate`, whole, on sixty drawn pictures."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import onnx
import pytest
import torch

import training.learning.learn
from classifier.inference.bundle import check_bundle_categories, load_bundle
from classifier.inference.photo import decode_photo
from classifier.inference.predict import Predictor
from classifier.rules.categories import load_categories
from tests.training.scenes import draw, write_set
from training.commands import evaluate_command, train_command
from training.recipe import load_recipe

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]
COUNTS = {"drink_can": 20, "glass_bottle": 20, "pet_bottles": 4, "food": 20, "non_item": 14}
RECIPE = """
name = "drawn"
size = 64
epochs = 1
batch = 8
sisters = ["yard"]
views = [0.0, 0.7]
"""


@dataclass(frozen=True)
class Made:
    """A finished run: what it was given and what it said."""

    data: Path
    recipe: Path
    bundle: Path
    code: int


def _train(data: Path, recipe: Path, out: Path) -> int:
    arguments = [str(data), "--recipe", str(recipe), "--out", str(out), "--workers", "1"]
    return train_command([*arguments, "--version", "1"])


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Return a trained bundle; one picture is damaged and one form is a category of the log."""
    folder = tmp_path_factory.mktemp("run")
    data = write_set(folder / "data", COUNTS, sources=("hall", "yard"))
    (data / "food_19.jpg").write_bytes(b"\xff\xd8 no picture")
    recipe = folder / "drawn.toml"
    recipe.write_text(RECIPE)
    return Made(data, recipe, folder / "bundle", _train(data, recipe, folder / "bundle"))


def test_the_bundle_loads_and_answers(made: Made) -> None:
    assert made.code == 0
    bundle = load_bundle(made.bundle)
    check_bundle_categories(bundle, {c.id for c in load_categories().categories})
    assert bundle.name == "drawn"
    assert bundle.labels == ("drink_can", "glass_bottle", "food", "pet_bottles", "non_item")
    assert bundle.form_categories["pet_bottles"] == {"pet_bottles": 1.0}
    photo = decode_photo((made.data / "drink_can_0.jpg").read_bytes())
    forms = Predictor(bundle).predict(photo).forms
    assert sum(form.p for form in forms) == pytest.approx(1)


def test_the_bundle_tells_how_it_was_made(made: Made) -> None:
    said = json.loads((made.bundle / "bundle.json").read_text())
    assert load_recipe(made.bundle / "recipe.toml") == load_recipe(made.recipe)
    assert said["training"]["command"] == ("tallytare train data --recipe drawn.toml --out bundle")
    assert said["training"]["seconds"] > 0
    assert "of a CPU" in said["training"]["machine"]
    assert {s["name"]: s["pictures"] for s in said["training"]["sources"]} == {
        "hall": 39,
        "yard": 38,
    }
    assert said["evaluation"]["onnx_parity"] < 1e-4
    assert list(said["evaluation"]["unseen_source"]) == ["yard"]
    assert said["training"]["networks"] == 2
    assert "yard" in (made.bundle / "CARD.md").read_text()
    assert str(made.data.parent) not in (made.bundle / "bundle.json").read_text()


def _told(bundle: Path) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Return bundle.json and the weights: the exporter may name constants again each time."""
    stored = onnx.load(bundle / "network.onnx").graph.initializer
    weights = {
        each.name: onnx.numpy_helper.to_array(each).tobytes()
        for each in stored
        if each.name.startswith("net.")
    }
    return json.loads((bundle / "bundle.json").read_text()), weights


def test_a_second_run_takes_up_the_finished_networks(
    made: Made, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    before, weights = _told(made.bundle)

    def never(*_: object, **__: object) -> None:
        raise AssertionError("trained again")

    monkeypatch.setattr(training.learning.learn, "train_network", never)
    assert _train(made.data, made.recipe, made.bundle) == 0
    again, same_weights = _told(made.bundle)
    assert weights
    assert weights == same_weights
    for key in ("forms", "temperature", "thresholds", "evaluation"):
        assert again[key] == before[key]
    other = tmp_path / "other.toml"
    other.write_text(RECIPE + "seed = 1\n")
    with pytest.raises(AssertionError, match="trained again"):
        _train(made.data, other, made.bundle)


def test_a_damaged_network_is_trained_again(
    made: Made, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "bundle.run").mkdir()
    (tmp_path / "bundle.run" / "all.pt").write_bytes(b"half a fi")

    def reached(*_: object, **__: object) -> None:
        raise AssertionError("trained again")

    monkeypatch.setattr(training.learning.learn, "train_network", reached)
    with pytest.raises(AssertionError, match="trained again"):
        _train(made.data, made.recipe, tmp_path / "bundle")


def test_suggest_answers_with_the_bundle(made: Made) -> None:
    photo = str(made.data / "drink_can_0.jpg")
    command = "import sys; from service.cli.main import main; sys.argv[0] = 'tallytare'; main()"
    done = subprocess.run(
        [sys.executable, "-c", command, "suggest", photo, "--json", "--bundle", str(made.bundle)],
        capture_output=True,
        text=True,
        check=True,
    )
    line = json.loads(done.stdout)
    assert line["model"] == {"name": "drawn", "version": "1"}
    assert {form["id"] for form in line["forms"]} == set(load_bundle(made.bundle).labels)
    assert line["error"] is None


def test_evaluate_as_table_and_as_json_tells_the_same(
    made: Made, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = [str(made.data), "--bundle", str(made.bundle)]
    assert evaluate_command([*arguments, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["bundle"] == "drawn"
    assert {name: s["pictures"] for name, s in result["by_source"].items()} == {
        "hall": 32,
        "yard": 31,
    }
    assert {line["form"]: line["pictures"] for line in result["by_form"]} == {
        **COUNTS,
        "food": 19,
    }
    assert 0 <= result["non_item_auroc"]["low"] <= result["non_item_auroc"]["high"] <= 1
    (skipped,) = result["skipped"]
    assert "food_19.jpg" in skipped
    assert evaluate_command(arguments) == 0
    table = capsys.readouterr().out
    top1 = result["by_source"]["hall"]["form_top1"]
    assert f"| hall | 32 (32) | {top1['value']:.2f} (" in table
    assert skipped in table


def test_evaluate_only_one_source(made: Made, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = [str(made.data), "--bundle", str(made.bundle), "--source", "hall", "--json"]
    assert evaluate_command(arguments) == 0
    assert list(json.loads(capsys.readouterr().out)["by_source"]) == ["hall"]


def test_evaluate_names_forms_that_the_bundle_has_not(
    made: Made, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    data = write_set(tmp_path / "data", {"food": 1, "plastic_film": 2})
    assert evaluate_command([str(data), "--bundle", str(made.bundle)]) == 0
    said = capsys.readouterr().out
    assert "skipped 2 pictures: the bundle has no form 'plastic_film'" in said
    only = write_set(tmp_path / "only", {"plastic_film": 2})
    assert evaluate_command([str(only), "--bundle", str(made.bundle)]) == 1
    assert "no readable picture with a form of drawn" in capsys.readouterr().err
    assert evaluate_command([str(data), "--bundle", str(made.bundle), "--programme", "x"]) == 1
    assert "no programme 'x'; shipped are " in capsys.readouterr().err


def test_what_a_run_refuses(made: Made, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    def refused(data: Path, recipe: str = 'name = "r"\nsize = 64\n') -> str:
        file = tmp_path / "recipe.toml"
        file.write_text(recipe)
        assert _train(data, file, tmp_path / "out") == 1
        assert not (tmp_path / "out").exists()
        return capsys.readouterr().err

    attic = refused(made.data, 'name = "r"\nsisters = ["attic"]\n')
    assert "no picture comes from the source attic; there are pictures from hall, yard" in attic
    alone = write_set(tmp_path / "alone", {"food": 2, "drink_can": 2}, sources=("hall",))
    everything = refused(alone, 'name = "r"\nsisters = ["hall"]\n')
    assert "its sisters keep out hall, which leaves no source to learn from" in everything

    typo = tmp_path / "typo"
    for label in ("drink_cann", "food"):
        (typo / label).mkdir(parents=True)
        draw("food", 1).save(typo / label / "a.jpg")
    assert "unknown label 'drink_cann'; did you mean drink_can" in refused(typo)
    (typo / "drink_cann").rename(typo / "drink_can")
    thin = refused(typo)
    assert "too few groups of pictures: drink_can (1), food (1); each needs at least 2" in thin

    unreadable = tmp_path / "unreadable"
    for label in ("drink_can", "food"):
        (unreadable / label).mkdir(parents=True)
        (unreadable / label / "a.jpg").write_text("no picture")
    assert "no picture could be read" in refused(unreadable)


def test_a_place_that_cannot_be_written_is_refused_before_the_work(
    made: Made, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way")
    for out in (tmp_path / "file", tmp_path / "file" / "bundle"):
        assert _train(made.data, made.recipe, out) == 1
        said = capsys.readouterr().err
        assert f"{out} can't be written (" in said
        assert "pictures in" not in said


def test_unreadable_pictures_are_named_and_counted(
    made: Made, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    def stop(*_: object, **__: object) -> torch.nn.Module:
        raise KeyboardInterrupt

    monkeypatch.setattr(training.learning.learn, "train_network", stop)
    with pytest.raises(KeyboardInterrupt):
        _train(made.data, made.recipe, tmp_path / "out")
    said = capsys.readouterr().err
    assert f"skipped {made.data / 'food_19.jpg'}: " in said
    assert "77 pictures in " in said
    assert "unreadable: 1" in said
