"""Parts of several networks: which come first, what is shared, and what a failure does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import torch

from tests.training.conftest import CPU
from training.learning.learn import Learner
from training.learning.ranks import Ranks
from training.parts import Part, networks_of, order, train_part
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable
from training.recipe import Recipe, dump_recipe
from training.side_by_side import in_order

LARGE = Recipe(
    name="large", size=64, batch=2, epochs=1, members=2, sister_members=1, sisters=("kitchen+yard",)
)


def test_members_come_before_their_average_and_the_teacher_before_its_pupil(
    data: Dataset, tmp_path: Path
) -> None:
    file = tmp_path / "large.toml"
    file.write_text(dump_recipe(LARGE), encoding="utf-8")
    small = Recipe(name="small", size=64, teacher=str(file))
    examples = [
        replace(example, source=source)
        for example, source in zip(
            data.examples, ["kitchen", "yard", "hall", "attic"] * 2, strict=True
        )
    ]
    data = replace(data, examples=examples)
    needs = order([small, LARGE], data)
    left = ("attic", "hall")
    assert networks_of(LARGE, data) == [(), left]
    first, second = (Part(LARGE, (), number) for number in (0, 1))
    assert needs[first] == needs[second] == set()
    assert needs[Part(LARGE, (), None)] == {first, second}
    assert needs[Part(LARGE, left, None)] == {Part(LARGE, left, 0)}
    assert needs[Part(small, (), 0)] == {Part(LARGE, (), None)}
    assert list(needs).index(Part(LARGE, (), None)) < list(needs).index(Part(small, (), 0))


def test_a_part_is_kept_where_a_run_looks_for_it_and_none_is_begun_too_late(
    table: FormTable, data: Dataset, tmp_path: Path
) -> None:
    recipe = replace(LARGE, members=1, sisters=())
    train_part(Part(recipe, (), 0), table, data, tmp_path, 0.0)
    assert not list(tmp_path.iterdir())
    for number in (0, None):
        train_part(Part(recipe, (), number), table, data, tmp_path, 1e12)
    learner = Learner(recipe, table, data, CPU, Ranks(), tmp_path / "large.run")
    assert learner.finished(()) is not None


def _double(task: int, out: Path, add: torch.Tensor) -> None:
    if task == 3:
        raise ValueError("three")
    (out / str(task)).write_text(str(2 * task + int(add.item())))


@pytest.mark.slow
def test_tasks_run_in_order_in_other_processes_and_fail_together(tmp_path: Path) -> None:
    add = torch.tensor([1]).share_memory_()
    in_order({2: {1}, 1: set()}, _double, (tmp_path, add), jobs=2)
    assert [(tmp_path / name).read_text() for name in ("1", "2")] == ["3", "5"]
    with pytest.raises(ValueError, match="three"):
        in_order({3: set(), 4: {3}}, _double, (tmp_path, add), jobs=2)
    assert not (tmp_path / "4").exists()
