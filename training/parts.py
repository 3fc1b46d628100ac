"""Train the networks of recipes in parts that can be taken up again, several at a time.

`python -m training.parts RECIPE... --data DIR... --work DIR --jobs 4` trains each network that
`tallytare train` with the same data and recipes asks for and that is not finished yet, and keeps
it in DIR/RECIPE.run, where `tallytare train --out DIR/RECIPE` takes it up. Several processes fill
a large GPU better than one. A run that stopped goes on with the parts that are missing.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import torch

from classifier.rules.categories import load_categories
from training.learning.learn import Learner
from training.learning.ranks import Ranks
from training.pictures.dataset import Dataset, load_dataset
from training.pictures.forms import FormTable, table_of_labels
from training.pictures.manifest import read_sets
from training.pictures.notes import tell
from training.recipe import Recipe, find_recipe, teacher_of
from training.run import machine_name, others


@dataclass(frozen=True, slots=True)
class Part:
    """One network: which recipe, learned from which sources, and which of its members.

    `number` is None for the average of all members.
    """

    recipe: Recipe
    sources: tuple[str, ...]
    number: int | None


def parts_of(recipe: Recipe, data: Dataset) -> list[tuple[str, ...]]:
    """Sources of each network of a recipe: the one that ships first, then its sisters."""
    sisters = [tuple(others(source, recipe, data)) for source in recipe.sisters]
    return [tuple(recipe.sources), *sisters]


def waves(recipes: Sequence[Recipe], data: Dataset) -> list[list[Part]]:
    """Parts that may be trained side by side, and after which others.

    Members come first, then their averages, then the networks that the averages teach.
    """
    alone = [recipe for recipe in recipes if teacher_of(recipe) is None]
    taught = [recipe for recipe in recipes if teacher_of(recipe) is not None]
    result = []
    for group in (alone, taught):
        pairs = [(recipe, sources) for recipe in group for sources in parts_of(recipe, data)]
        members = []
        for recipe, sources in pairs:
            many = recipe.members_for(sources)
            members += [Part(recipe, sources, number) for number in range(many)]
        result += [members, [Part(recipe, sources, None) for recipe, sources in pairs]]
    return [wave for wave in result if wave]


def train_part(part: Part, table: FormTable, data: Dataset, work: Path) -> None:
    """Train or take up one network, unless it is finished."""
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    learner = Learner(
        part.recipe, table, data, device, Ranks(), work / f"{part.recipe.name}.run",
        machine_name(1, device),
    )  # fmt: skip
    if part.number is None or learner.finished(part.sources) is not None:
        learner.network(part.sources)
    else:
        learner.member(part.sources, part.number)


def _worker(queue: Any, table: FormTable, data: Dataset, work: Path, until: float) -> None:
    torch.set_num_threads(2)
    while (part := queue.get()) is not None:
        if time.time() < until:
            train_part(part, table, data, work)


def train_parts(
    recipes: Sequence[Recipe],
    paths: Sequence[Path],
    work: Path,
    *,
    jobs: int,
    workers: int,
    seconds: float,
) -> None:
    """Train all networks of some recipes, `jobs` at a time; none is begun after `seconds`."""
    until = time.time() + seconds
    examples = read_sets(paths)
    table = table_of_labels((e.form for e in examples), load_categories())
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    data = load_dataset(examples, table, device=device, workers=workers, seed=0)
    for tensor in (data.canvases.pixels, data.canvases.extents):
        tensor.share_memory_()  # type: ignore[no-untyped-call]
    context = torch.multiprocessing.get_context("spawn")
    for wave in waves(recipes, data):
        queue = context.Queue()
        for part in [*wave, *[None] * jobs]:
            queue.put(part)
        pool = [
            context.Process(target=_worker, args=(queue, table, data, work, until))
            for _ in range(min(jobs, len(wave)))
        ]
        for process in pool:
            process.start()
        for process in pool:
            process.join()
        tell(f"{len(wave)} parts done, {until - time.time():.0f} s left\n")


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("recipe", nargs="+", help="name of a shipped recipe or a file")
    parser.add_argument("--data", type=Path, nargs="+", required=True, help="sets, read as one")
    parser.add_argument("--work", type=Path, required=True, help="folder of the bundles to be")
    parser.add_argument("--jobs", type=int, default=1, help="networks at a time")
    parser.add_argument("--workers", type=int, default=2, help="processes that decode")
    parser.add_argument("--seconds", type=float, default=1e9, help="begin no part after these")
    given = parser.parse_args(arguments)
    train_parts(
        [find_recipe(name) for name in given.recipe], given.data, given.work,
        jobs=given.jobs, workers=given.workers, seconds=given.seconds,
    )  # fmt: skip


if __name__ == "__main__":
    main()
