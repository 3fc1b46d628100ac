"""Laptop mode: the head against scikit-learn, the backbone untouched, a whole run."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import torch
from sklearn.linear_model import LogisticRegression

from classifier.inference.bundle import load_bundle
from classifier.inference.photo import decode_photo
from classifier.inference.predict import Predictor
from classifier.rules.categories import load_categories
from tests.tiny_bundle import write_tiny_bundle
from tests.training.scenes import write_set
from training.backbones import pretrained_state
from training.bundle.export import round_to_half
from training.bundle.start import load_start
from training.commands import recipe_after, train_command
from training.frozen import PENALTY, _frozen_network, fit_logistic
from training.network import SortNet
from training.pictures.forms import table_of_labels
from training.recipe import find_recipe

COUNTS = {"drink_can": 20, "glass_bottle": 20, "food": 20}
RECIPE = 'name = "drawn"\nsize = 64\nviews = [0.0, 0.7]\n'


def test_the_head_agrees_with_scikit_learn() -> None:
    """Source: sklearn.linear_model.LogisticRegression, C = 1 / (penalty x sum of weights)."""
    rng = np.random.default_rng(2)
    labels = np.repeat([0, 1, 2], [60, 30, 10])
    x = rng.normal(size=(100, 6)) + np.eye(6)[labels] * 2
    weights = 1 / np.bincount(labels)[labels]
    features = torch.from_numpy(x).float()
    weight, bias = fit_logistic(features, torch.from_numpy(labels), torch.from_numpy(weights), 3)
    ours = (features @ weight.T + bias).softmax(dim=1).numpy()
    scaled = (x - x.mean(axis=0)) / x.std(axis=0, ddof=1)
    theirs = LogisticRegression(C=1 / PENALTY, tol=1e-8, max_iter=1000)
    theirs.fit(scaled, labels, sample_weight=weights / weights.sum())
    np.testing.assert_allclose(ours, theirs.predict_proba(scaled), atol=2e-3)


def test_a_form_without_pictures_is_hardly_ever_answered() -> None:
    rng = np.random.default_rng(3)
    features = torch.from_numpy(rng.normal(size=(40, 4))).float()
    labels = torch.arange(40) % 2
    weight, bias = fit_logistic(features, labels, torch.ones(40), 3)
    assert torch.isfinite(bias).all()
    assert (features @ weight.T + bias).softmax(dim=1)[:, 2].max() < 0.05


def _train(data: Path, out: Path, *more: str) -> int:
    recipe = out.with_suffix(".toml")
    recipe.write_text(RECIPE)
    given = [str(data), "--recipe", str(recipe), "--out", str(out), "--workers", "1"]
    return train_command([*given, "--version", "1", "--frozen", *more])


@pytest.mark.slow
@pytest.mark.timeout(240)
def test_a_whole_run_and_one_that_starts_from_it(tmp_path: Path) -> None:
    data = write_set(tmp_path / "data", COUNTS)
    assert _train(data, tmp_path / "one") == 0
    assert not (tmp_path / "one.run").exists()
    said = json.loads((tmp_path / "one" / "bundle.json").read_text())
    assert said["training"]["command"].endswith("--out one --frozen")
    assert "left as they were" in (tmp_path / "one" / "CARD.md").read_text()
    predictor = Predictor(load_bundle(tmp_path / "one"))
    right = [
        predictor.predict(decode_photo(path.read_bytes())).forms[0].id in path.name
        for path in sorted(data.glob("*.jpg"))
    ]
    assert np.mean(right) > 0.8
    start = load_start(str(tmp_path / "one"))
    before = {n: t for n, t in pretrained_state("lite0").items() if t.ndim == 4}
    assert all(torch.equal(start.state[name], t.half().float()) for name, t in before.items())
    table = table_of_labels(COUNTS, load_categories())
    taken = _frozen_network(find_recipe("own"), table, start)
    pretrained = round_to_half(SortNet("lite0", 1, 1, pretrained=True)).eval()
    pictures = torch.rand(2, 3, 96, 96, generator=torch.Generator().manual_seed(0)) * 2 - 1
    with torch.no_grad():
        torch.testing.assert_close(
            taken.embed(pictures), pretrained.embed(pictures), rtol=1e-3, atol=1e-3
        )
    assert _train(data, tmp_path / "two", "--start", str(tmp_path / "one")) == 0
    card = (tmp_path / "two" / "CARD.md").read_text()
    assert "the backbone of drawn 1, itself started from ImageNet-1k weights" in card


def test_the_own_recipe_follows_the_bundle_that_it_starts_from() -> None:
    """Else `--frozen --start household` would ask everybody to write a recipe first."""
    own, household = find_recipe("own"), find_recipe("household")
    taken = recipe_after("household", own)
    assert (taken.backbone, taken.size) == (household.backbone, household.size)
    assert (taken.name, taken.sources, taken.views) == (own.name, own.sources, own.views)


def test_what_a_start_refuses(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tiny = write_tiny_bundle(tmp_path / "tiny")
    assert _train(tmp_path, tmp_path / "out", "--start", str(tiny)) == 1
    assert "was not made by `tallytare train`" in capsys.readouterr().err
    with pytest.raises(SystemExit) as stopped:
        train_command([str(tmp_path), "--out", str(tmp_path / "o"), "--start", "household"])
    assert stopped.value.code == 2
    assert "--start goes with --frozen only" in capsys.readouterr().err
