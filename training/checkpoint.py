"""Finished networks on disk, so that a run which stopped later need not train them again."""

from __future__ import annotations

from pathlib import Path

import torch

from training.forms import FormTable
from training.network import SortNet
from training.recipe import Recipe, dump_recipe


def save_network(path: Path, net: SortNet, recipe: Recipe, *, pictures: int) -> None:
    """Keep a network with the recipe and the number of pictures that it comes from."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".tmp")
    state = {name: value.cpu() for name, value in net.state_dict().items()}
    torch.save({"recipe": dump_recipe(recipe), "pictures": pictures, "state": state}, unfinished)
    unfinished.replace(path)


def load_network(path: Path, recipe: Recipe, table: FormTable, *, pictures: int) -> SortNet | None:
    """Return the kept network, or None where it is absent or comes from another run."""
    if not path.is_file():
        return None
    kept = torch.load(path, map_location="cpu", weights_only=True)
    if kept["recipe"] != dump_recipe(recipe) or kept["pictures"] != pictures:
        return None
    net = SortNet(
        recipe.backbone,
        len(table.forms),
        len(table.materials),
        style=recipe.style,
        pretrained=False,
    )
    net.load_state_dict(kept["state"])
    return net.eval()
