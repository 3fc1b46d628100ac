"""A stopped training goes on to the same result; several processes train one network."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
import torch

from tests.training.conftest import CPU
from tests.training.scenes import write_set
from training.learning import train as train_module
from training.learning.checkpoint import HalfTrained
from training.learning.ranks import Ranks, UnevenBatchError
from training.learning.train import train_network
from training.network import SortNet
from training.pictures.forms import FormTable
from training.pictures.images import Canvases
from training.pictures.labels import Labels
from training.recipe import Recipe

RECIPE = Recipe(size=64, batch=4, epochs=3, style=0.5, keep_weight=0.5)


class _Stopped(Exception):
    """Stands for a killed process."""


def _stop_after_two(epoch: int, loss: float, seconds: float) -> None:
    del loss, seconds
    if epoch == 2:
        raise _Stopped


def _state(path: Path, table: FormTable, recipe: Recipe = RECIPE) -> HalfTrained:
    return HalfTrained.of(path, recipe, table, pictures="eight")


@pytest.mark.slow
def test_a_stopped_training_ends_as_if_it_had_not_stopped(
    table: FormTable,
    canvases: Canvases,
    labels: Labels,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(train_module, "_KEPT_EVERY_S", 0.0)  # after each epoch
    straight = train_network(RECIPE, table, canvases, labels, device=CPU)
    store = _state(tmp_path / "all.half", table)
    with pytest.raises(_Stopped):
        train_network(
            RECIPE, table, canvases, labels, device=CPU, store=store, progress=_stop_after_two
        )
    epochs: list[int] = []
    resumed = train_network(
        RECIPE, table, canvases, labels, device=CPU, store=_state(store.path, table),
        progress=lambda epoch, *_: epochs.append(epoch),
    )  # fmt: skip
    assert epochs == [3]
    ours, theirs = resumed.state_dict(), straight.state_dict()
    assert all(torch.equal(ours[name], theirs[name]) for name in theirs)


def test_a_state_of_another_run_or_a_damaged_one_is_not_taken_up(
    table: FormTable, tmp_path: Path
) -> None:
    store = _state(tmp_path / "all.half", table)
    assert store.load() is None
    store.save({"epoch": 1})
    assert store.load() == {"epoch": 1}
    other = Recipe(size=64, batch=4, epochs=4, style=0.5, keep_weight=0.5)
    assert _state(store.path, table, other).load() is None
    store.path.write_bytes(store.path.read_bytes()[:100])
    assert store.load() is None
    store.forget()
    store.forget()
    assert not store.path.exists()


def test_processes_share_a_batch_evenly_or_not_at_all() -> None:
    rows = torch.arange(8)
    parts = [Ranks(rank, 4).share(rows).tolist() for rank in range(4)]
    assert sorted(row for part in parts for row in part) == rows.tolist()
    assert {len(part) for part in parts} == {2}
    Ranks(1, 4).check(8)
    with pytest.raises(UnevenBatchError, match="batch of 10 can't be shared evenly by 4"):
        Ranks(1, 4).check(10)


def test_one_process_alone_averages_nothing() -> None:
    net = SortNet("lite0", 2, 2, pretrained=False)
    before = [buffer.clone() for buffer in net.buffers()]
    Ranks().average_statistics(net)
    Ranks().average_gradients(net)
    assert all(torch.equal(a, b) for a, b in zip(before, net.buffers(), strict=True))


TOGETHER = """
import json, sys
import torch
from torch import nn
from training.learning.ranks import joined_ranks

with joined_ranks() as (ranks, device):
    net = nn.Sequential(nn.Linear(2, 1), nn.BatchNorm1d(1))
    for parameter in net.parameters():
        parameter.grad = torch.full_like(parameter, float(ranks.rank))
    net[1].running_mean.fill_(float(ranks.rank))
    ranks.average_gradients(net)
    ranks.average_statistics(net)
    said = [ranks.rank, ranks.world, net[0].weight.grad.tolist(), net[1].running_mean.tolist()]
    open(f"{sys.argv[1]}/{ranks.rank}.json", "w").write(json.dumps(said))
"""


def _torchrun(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "torch.distributed.run", "--standalone", "--nproc-per-node=2"]
    return subprocess.run(
        [*command, *arguments], capture_output=True, text=True, timeout=300, check=False
    )


def _train_together(data: Path, recipe: Path, out: Path) -> subprocess.CompletedProcess[str]:
    tallytare = str(Path(sys.executable).with_name("tallytare"))
    return _torchrun(
        "--no-python", tallytare, "train", str(data), "--recipe", str(recipe), "--out", str(out)
    )


@pytest.mark.slow
def test_processes_of_torchrun_agree_on_gradients_and_statistics(tmp_path: Path) -> None:
    script = tmp_path / "together.py"
    script.write_text(TOGETHER)
    done = _torchrun(str(script), str(tmp_path))
    assert done.returncode == 0, done.stderr
    said = [json.loads((tmp_path / f"{rank}.json").read_text()) for rank in (0, 1)]
    assert said == [[0, 2, [[0.5, 0.5]], [0.5]], [1, 2, [[0.5, 0.5]], [0.5]]]


@pytest.mark.slow
def test_torchrun_trains_a_bundle(tmp_path: Path) -> None:
    """Two processes on one machine, the whole way to a bundle that only one of them writes."""
    data = write_set(tmp_path / "data", {"drink_can": 40, "food": 40}, sources=("hall", "yard"))
    recipe = tmp_path / "tiny.toml"
    recipe.write_text('name = "tiny"\nsize = 64\nepochs = 1\nbatch = 16\nviews = [1.0]\n')
    (data / "food_9.jpg").write_bytes(b"no picture")
    done = _train_together(data, recipe, tmp_path / "bundle")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "bundle" / "bundle.json").is_file()
    assert not list((tmp_path / "bundle.run").glob("*.half"))
    # What both processes find is said once.
    assert done.stderr.count("food_9.jpg") == 1
    assert done.stderr.count("79 pictures in ") == 1


@pytest.mark.slow
def test_torchrun_ends_with_the_reason_of_a_refusal(tmp_path: Path) -> None:
    """Its own report is long and comes last: the reason stands before it and at its end."""
    data = write_set(tmp_path / "data", {"drink_can": 4, "food": 4}, sources=("hall", "yard"))
    recipe = tmp_path / "tiny.toml"
    recipe.write_text('name = "tiny"\nsize = 64\nsources = ["hall", "attic"]\n')
    done = _train_together(data, recipe, tmp_path / "bundle")
    assert done.returncode == 1
    reason = "no picture comes from the source attic; there are pictures from hall, yard"
    assert any(reason in line and "Error" not in line for line in done.stderr.splitlines())
    assert reason in done.stderr[-1000:]
