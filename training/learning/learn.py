"""The network of a run: trained or taken up again, averaged over seeds, taught by larger ones."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import torch
from tqdm import tqdm

from classifier.errors import DataFileError
from training.learning.checkpoint import Finished, HalfTrained, load_network, save_network
from training.learning.ranks import Ranks
from training.learning.train import refresh_statistics, train_network
from training.network import SortNet, average_networks, blend_backbone
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable
from training.recipe import Recipe, dump_recipe, teacher_of

_LONGEST_NAME = 80  # characters; file systems take 255 at most


@dataclass(frozen=True, slots=True)
class Learner:
    """Trains the networks of one recipe on one set of pictures.

    `work` is the folder where finished networks wait, so that a stopped run need not train them
    again; networks of a recipe that teaches wait beside it. `machine` says what trains, and `spent`
    how many networks were averaged for each set of sources, how long they took and on what,
    whichever run trained them.
    """

    recipe: Recipe
    table: FormTable
    data: Dataset
    device: torch.device
    ranks: Ranks
    work: Path
    machine: str = ""
    spent: dict[str, tuple[int, float, str]] = field(default_factory=dict)

    def made_how(self) -> dict[str, Any]:
        """Say how many networks there are, in how many seconds and on what they were trained."""
        machines = sorted({machine for _, _, machine in self.spent.values()})
        return {
            "networks": sum(networks for networks, _, _ in self.spent.values()),
            "seconds": round(sum(seconds for _, seconds, _ in self.spent.values())),
            "machine": " and ".join(machines),
        }

    def rows(self, sources: Sequence[str]) -> torch.Tensor:
        """Rows of the train split that come from some sources (none named: from all).

        Raises
        ------
        DataFileError
            There is none.
        """
        rows = self.data.rows(
            [
                split == "train" and (not sources or example.source in sources)
                for example, split in zip(self.data.examples, self.data.splits, strict=True)
            ]
        )
        if not len(rows):
            raise DataFileError(
                f"no picture of {_title(sources)} lies in the train split; add pictures"
            )
        return rows

    def network(self, sources: Sequence[str]) -> SortNet:
        """Return the network that learned from the train split of some sources, as it ships."""
        finished = self.finished(sources)
        if finished is None:
            finished = self._averaged(sources)
            if self.ranks.first:
                save_network(
                    self._whole(sources), finished, self.recipe, self.table,
                    pictures=self.pictures(sources), half=True,
                )  # fmt: skip
        spent = self.recipe.members_for(sources), finished.seconds, finished.machine
        self.spent[_title(sources)] = spent
        return finished.net

    def finished(self, sources: Sequence[str]) -> Finished | None:
        """Return the network of some sources where it is kept, or None."""
        return load_network(
            self._whole(sources), self.recipe, self.table, pictures=self.pictures(sources)
        )

    def _whole(self, sources: Sequence[str]) -> Path:
        return self.work / f"{_file_name(sources)}-whole.pt"

    def _averaged(self, sources: Sequence[str]) -> Finished:
        recipe = self.recipe
        members = [
            self.member(sources, number) for number in range(self.recipe.members_for(sources))
        ]
        net = average_networks([member.net.cpu() for member in members])
        if len(members) > 1:
            refresh_statistics(
                net, recipe, self.data.canvases.pick(self.rows(sources)), self.device
            )
        net = blend_backbone(net.cpu(), recipe.backbone, recipe.blend)
        machines = sorted({member.machine for member in members})
        return Finished(net, sum(member.seconds for member in members), " and ".join(machines))

    def pictures(self, sources: Sequence[str]) -> str:
        """Name the pictures that a network of some sources learns from, and its teacher."""
        return self.data.fingerprint(self.rows(sources)) + self._taught_by()

    def member(self, sources: Sequence[str], number: int) -> Finished:
        """Train one of the networks that are averaged, or take up a finished one."""
        recipe = replace(self.recipe, seed=self.recipe.seed + number, members=1)
        kept = self.work / f"{_file_name(sources)}{f'-{number}' if number else ''}.pt"
        pictures = self.pictures(sources)
        finished = load_network(kept, recipe, self.table, pictures=pictures)
        if finished is None:
            finished = self._trained(recipe, sources, number, kept, pictures)
        return finished

    def _trained(
        self, recipe: Recipe, sources: Sequence[str], number: int, kept: Path, pictures: str
    ) -> Finished:
        rows, title = self.rows(sources), _title(sources)
        teacher = self._teacher(sources)
        half = HalfTrained.of(kept.with_suffix(".half"), recipe, self.table, pictures=pictures)
        described = f"{title}, {len(rows)} pictures, network {number + 1}/{self.recipe.members}"
        bar = tqdm(total=recipe.epochs, desc=described, unit="epoch", disable=not self.ranks.first)
        spent = []

        def progress(epoch: int, loss: float, seconds: float) -> None:
            spent.append(seconds)
            bar.set_postfix(loss=f"{loss:.3f}")
            bar.update(epoch - bar.n)

        with bar:
            net = train_network(
                recipe, self.table, self.data.canvases.pick(rows), self.data.labels.pick(rows),
                device=self.device, progress=progress, store=half, ranks=self.ranks,
                teacher=teacher, shares=self._shares(rows),
            )  # fmt: skip
        finished = Finished(net, sum(spent), self.machine)
        if self.ranks.first:
            save_network(kept, finished, recipe, self.table, pictures=pictures)
            half.forget()
        return finished

    def _shares(self, rows: torch.Tensor) -> torch.Tensor:
        weights = self.recipe.weights
        examples = self.data.examples
        return torch.tensor(
            [weights.get(examples[row].source, 1.0) for row in rows.tolist()], dtype=torch.float64
        )

    def _taught_by(self) -> str:
        """Tell one teacher from another of the same name: the pupil of each is another network."""
        teacher = teacher_of(self.recipe)
        return f", taught by {dump_recipe(teacher)}" if teacher else ""

    def _teacher(self, sources: Sequence[str]) -> SortNet | None:
        """Return the network that teaches, which learned from the same pictures alone."""
        recipe = teacher_of(self.recipe)
        if recipe is None:
            return None
        work = self.work.with_name(recipe.name + ".run")
        learner = replace(self, recipe=recipe, work=work, spent={})
        return learner.network(sources)


def _title(sources: Sequence[str]) -> str:
    return "-".join(sources) or "all"


def _file_name(sources: Sequence[str]) -> str:
    """Sources as the name of a file: of many, a code."""
    title = _title(sources)
    if len(title) <= _LONGEST_NAME:
        return title
    return f"{len(sources)}-sources-{hashlib.sha256(title.encode()).hexdigest()[:10]}"
