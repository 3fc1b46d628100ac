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
from training.side_by_side import in_order


@dataclass(frozen=True, slots=True)
class Part:
    """One network: which recipe, learned from which sources, and which of its members.

    `number` is None for the average of all members.
    """

    recipe: Recipe
    sources: tuple[str, ...]
    number: int | None


def networks_of(recipe: Recipe, data: Dataset) -> list[tuple[str, ...]]:
    """Sources of each network of a recipe: the one that ships first, then its sisters."""
    sisters = [tuple(others(source, recipe, data)) for source in recipe.sisters]
    return [tuple(recipe.sources), *sisters]


def order(recipes: Sequence[Recipe], data: Dataset) -> dict[Part, set[Part]]:
    """Every part, with the parts that must be finished before it.

    An average waits for its members, and whatever is taught for the network that teaches.
    """
    needs: dict[Part, set[Part]] = {}
    for recipe in sorted(recipes, key=lambda each: bool(each.teacher)):
        teacher = teacher_of(recipe)
        for sources in networks_of(recipe, data):
            before = {Part(teacher, sources, None)} if teacher else set()
            members = [Part(recipe, sources, n) for n in range(recipe.members_for(sources))]
            needs |= {member: before & set(needs) for member in members}
            needs[Part(recipe, sources, None)] = set(members)
    return needs


def train_part(part: Part, table: FormTable, data: Dataset, work: Path, until: float) -> None:
    """Train or take up one network, unless it is finished or it is past the time `until`."""
    if time.time() > until:
        return
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    learner = Learner(
        part.recipe, table, data, device, Ranks(), work / f"{part.recipe.name}.run",
        machine_name(1, device),
    )  # fmt: skip
    if part.number is None or learner.finished(part.sources) is not None:
        learner.network(part.sources)
    else:
        learner.member(part.sources, part.number)


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
    needs = order(recipes, data)
    in_order(needs, train_part, (table, data, work, until), jobs=jobs)
    tell(f"{len(needs)} parts, {until - time.time():.0f} s left\n")


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
