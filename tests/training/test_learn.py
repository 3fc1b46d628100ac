"""Networks that are averaged over seeds, and one that learns from another recipe's network."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import torch

import training.learning.learn
from classifier.errors import DataFileError
from tests.training.conftest import CPU
from training.learning.learn import Learner
from training.learning.ranks import Ranks
from training.learning.train import LossOf, refresh_statistics
from training.network import SortNet, average_networks
from training.pictures.augment import Chance
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable
from training.pictures.images import Canvases
from training.pictures.labels import Labels
from training.recipe import Recipe, dump_recipe

RECIPE = Recipe(name="pair", size=64, batch=4, members=2)
Fake = Callable[..., SortNet]


def _net(table: FormTable, value: float) -> SortNet:
    net = SortNet("lite0", len(table.forms), len(table.materials), pretrained=False).eval()
    with torch.no_grad():
        net.forms.bias.fill_(value)
    net.backbone.bn1.running_mean.fill_(value)
    return net


def _learner(recipe: Recipe, table: FormTable, data: Dataset, work: Path) -> Learner:
    return Learner(recipe, table, data, CPU, Ranks(), work)


def test_an_average_is_that_of_every_weight_and_statistic(table: FormTable) -> None:
    nets = [_net(table, 1.0), _net(table, 4.0)]
    mean = average_networks(nets)
    assert mean.forms.bias.unique().tolist() == [2.5]
    assert mean.backbone.bn1.running_mean.unique().tolist() == [2.5]
    assert nets[0].forms.bias.unique().tolist() == [1.0]
    first, second = (net.backbone.conv_stem.weight for net in nets)
    assert torch.allclose(mean.backbone.conv_stem.weight, (first + second) / 2)


def test_members_differ_in_seed_and_are_taken_up_again(
    table: FormTable, data: Dataset, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trained: list[tuple[int, int]] = []

    def fake(
        recipe: Recipe, table: FormTable, canvases: Canvases, labels: Labels, **_: object
    ) -> SortNet:
        trained.append((recipe.seed, len(labels.forms)))
        assert len(canvases.extents) == len(labels.forms)
        return _net(table, float(recipe.seed))

    monkeypatch.setattr(training.learning.learn, "train_network", fake)
    net = _learner(replace(RECIPE, seed=7), table, data, tmp_path).network([])
    assert trained == [(7, 6), (8, 6)]
    assert net.forms.bias.unique().tolist() == [7.5]
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "all-1.pt",
        "all-whole.pt",
        "all.pt",
    ]
    more = _learner(replace(RECIPE, seed=7, members=3), table, data, tmp_path).network([])
    assert trained == [(7, 6), (8, 6), (9, 6)]
    assert more.forms.bias.unique().tolist() == [8.0]


def test_a_teacher_learned_from_the_same_pictures(
    table: FormTable, data: Dataset, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "large.toml"
    file.write_text(dump_recipe(replace(RECIPE, name="large")), encoding="utf-8")
    taught: list[tuple[str, list[float], int]] = []

    def fake(
        recipe: Recipe, table: FormTable, _canvases: Canvases, labels: Labels,
        *, teacher: SortNet | None, **_: object,
    ) -> SortNet:  # fmt: skip
        value = teacher.forms.bias.unique().tolist() if teacher else []
        taught.append((recipe.name, value, len(labels.forms)))
        return _net(table, recipe.seed + 1.0)

    monkeypatch.setattr(training.learning.learn, "train_network", fake)
    small = Recipe(name="small", size=64, batch=4, teacher=str(file))
    _learner(small, table, data, tmp_path / "small.run").network(["kitchen"])
    assert taught == [("large", [], 6), ("large", [], 6), ("small", [1.5], 6)]
    assert (tmp_path / "large.run" / "kitchen-1.pt").is_file()


def test_a_pupil_of_another_teacher_is_trained_anew(
    table: FormTable, data: Dataset, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, trained = tmp_path / "large.toml", []

    def fake(recipe: Recipe, table: FormTable, *_: object, **__: object) -> SortNet:
        trained.append(recipe.name)
        return _net(table, 1.0)

    monkeypatch.setattr(training.learning.learn, "train_network", fake)
    small = Recipe(name="small", size=64, batch=4, teacher=str(file))
    for epochs in (1, 1, 2):
        file.write_text(dump_recipe(Recipe(name="large", size=64, epochs=epochs)), encoding="utf-8")
        _learner(small, table, data, tmp_path / "small.run").network([])
    assert trained == ["large", "small", "large", "small"]
    file.write_text(dump_recipe(Recipe(name="large", teacher="household")), encoding="utf-8")
    with pytest.raises(DataFileError, match="is itself taught by household"):
        _learner(small, table, data, tmp_path / "small.run").network([])


def test_an_unknown_teacher_and_a_source_without_pictures_are_refused(
    table: FormTable, data: Dataset, tmp_path: Path
) -> None:
    pupil = replace(RECIPE, teacher="nobody")
    with pytest.raises(DataFileError, match="no recipe 'nobody'; shipped are household"):
        _learner(pupil, table, data, tmp_path).network([])
    with pytest.raises(DataFileError, match="no picture of yard lies in the train split"):
        _learner(RECIPE, table, data, tmp_path).network(["yard"])


def test_a_teacher_who_says_the_same_costs_nothing(
    table: FormTable, canvases: Canvases, labels: Labels
) -> None:
    net, index = _net(table, 0.0), torch.arange(8)

    def loss(teacher: SortNet | None) -> float:
        loss_of = LossOf(RECIPE, table, torch.nn.Identity(), CPU, teacher=teacher)
        with torch.no_grad():
            return float(loss_of(net, canvases, labels, index, Chance(0, CPU)))

    other = _net(table, 0.0)
    with torch.no_grad():
        other.forms.bias[0] = 3.0
    assert loss(net) == pytest.approx(loss(None), abs=1e-5)
    assert loss(other) > loss(None) + 0.1


def test_statistics_are_those_of_the_pictures(table: FormTable, canvases: Canvases) -> None:
    """The reference is the mean of the first convolution's answers to the same crops."""
    net = SortNet("lite0", len(table.forms), len(table.materials), pretrained=True)
    recipe = replace(RECIPE, light=0.0, turn=0.0, zoom=1.0)
    seen: list[torch.Tensor] = []

    def keep(_: torch.nn.Module, given: tuple[torch.Tensor, ...]) -> None:
        seen.append(given[0].mean(dim=(0, 2, 3)))

    net.backbone.bn1.register_forward_pre_hook(keep)
    net.backbone.bn1.running_mean.fill_(99.0)
    refresh_statistics(net, recipe, canvases, CPU)
    assert len(seen) == 10
    assert torch.allclose(net.backbone.bn1.running_mean, torch.stack(seen).mean(dim=0), atol=1e-5)
    assert not net.training
    again = SortNet("lite0", len(table.forms), len(table.materials), pretrained=True)
    refresh_statistics(again, recipe, canvases, CPU)
    assert torch.equal(again.backbone.bn1.running_mean, net.backbone.bn1.running_mean)
