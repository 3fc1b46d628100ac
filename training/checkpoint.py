"""Finished networks on disk, so that a run which stopped later need not train them again."""

from __future__ import annotations

from pathlib import Path

import torch

from training.forms import FormTable
from training.network import SortNet
from training.recipe import Recipe, dump_recipe


def save_network(
    path: Path, net: SortNet, recipe: Recipe, table: FormTable, *, pictures: str
) -> None:
    """Keep a network with its recipe, its forms and the fingerprint of its pictures."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(".tmp")
    state = {name: value.cpu() for name, value in net.state_dict().items()}
    torch.save({"origin": _origin(recipe, table, pictures), "state": state}, unfinished)
    unfinished.replace(path)


def load_network(path: Path, recipe: Recipe, table: FormTable, *, pictures: str) -> SortNet | None:
    """Return the kept network, or None where it is absent, damaged or of another run."""
    try:
        kept = torch.load(path, map_location="cpu", weights_only=True)
    except Exception:  # absent, or damaged, for which torch raises half a dozen kinds
        return None
    if kept.get("origin") != _origin(recipe, table, pictures):
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


def _origin(recipe: Recipe, table: FormTable, pictures: str) -> dict[str, object]:
    return {"recipe": dump_recipe(recipe), "forms": table.ids, "pictures": pictures}
