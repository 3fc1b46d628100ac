"""Networks on disk, finished or half trained, so that a run which stopped can go on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import torch

from training.network import SortNet
from training.pictures.forms import FormTable
from training.recipe import Recipe, dump_recipe


@dataclass(frozen=True, slots=True)
class Finished:
    """A trained network, the seconds of its epochs (not of those before a stop) and the machine."""

    net: SortNet
    seconds: float
    machine: str


def save_network(
    path: Path,
    finished: Finished,
    recipe: Recipe,
    table: FormTable,
    *,
    pictures: str,
    half: bool = False,
) -> None:
    """Keep a network with its recipe, its forms and the fingerprint of its pictures.

    With `half`, matrices are kept in half precision, as they ship.
    """
    state = {
        name: value.cpu().half() if half and value.ndim > 1 else value.cpu()
        for name, value in finished.net.state_dict().items()
    }
    known = {"seconds": finished.seconds, "machine": finished.machine}
    _write(path, {"origin": _origin(recipe, table, pictures), "state": state, **known})


def load_network(path: Path, recipe: Recipe, table: FormTable, *, pictures: str) -> Finished | None:
    """Return the kept network, or None where it is absent, damaged or of another run."""
    kept = _read(path, _origin(recipe, table, pictures))
    if kept is None:
        return None
    net = SortNet(
        recipe.backbone,
        len(table.forms),
        len(table.materials),
        style=recipe.style,
        pretrained=False,
        size=recipe.size,
    )
    net.load_state_dict(kept["state"])
    return Finished(net.eval(), kept["seconds"], kept["machine"])


@dataclass(frozen=True, slots=True)
class HalfTrained:
    """The state of a training after its last finished epoch, in a file of its own."""

    path: Path
    origin: Mapping[str, object]

    @classmethod
    def of(cls, path: Path, recipe: Recipe, table: FormTable, *, pictures: str) -> HalfTrained:
        """Name the state of a run by its recipe, forms and pictures, as finished networks are."""
        return cls(path, _origin(recipe, table, pictures))

    def load(self) -> Mapping[str, Any] | None:
        """Return the state, or None where it is absent, damaged or of another run."""
        kept = _read(self.path, self.origin)
        return None if kept is None else kept["state"]

    def save(self, state: Mapping[str, Any]) -> None:
        """Keep a state instead of the one before."""
        _write(self.path, {"origin": dict(self.origin), "state": dict(state)})

    def forget(self) -> None:
        """Remove the file: the network is finished."""
        self.path.unlink(missing_ok=True)


def _write(path: Path, content: Mapping[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_suffix(path.suffix + ".tmp")
    torch.save(dict(content), unfinished)
    unfinished.replace(path)


def _read(path: Path, origin: Mapping[str, object]) -> dict[str, Any] | None:
    try:
        kept: dict[str, Any] = torch.load(path, map_location="cpu", weights_only=True)
    except Exception:  # absent, or damaged, for which torch raises half a dozen kinds
        return None
    return kept if kept.get("origin") == origin else None


def _origin(recipe: Recipe, table: FormTable, pictures: str) -> dict[str, object]:
    return {"recipe": dump_recipe(recipe), "forms": table.ids, "pictures": pictures}
