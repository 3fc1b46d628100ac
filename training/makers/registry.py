"""All makers by name: the form each shows and the group it is left out with."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from training.makers import families
from training.makers.dice import Dice
from training.makers.material import Item

Make = Callable[[Dice], Item]


@dataclass(frozen=True, slots=True)
class Maker:
    """A function that makes one item, its name, its group, and how often it is drawn in it."""

    name: str
    group: str
    make: Make
    weight: float


@lru_cache(maxsize=1)
def makers() -> dict[str, Maker]:
    """Every maker of every family; a family's group is the name of its module."""
    found = {}
    for module in pkgutil.iter_modules(families.__path__):
        table = importlib.import_module(f"{families.__name__}.{module.name}").MAKERS
        for name, (make, weight) in table.items():
            found[name] = Maker(name, module.name, make, weight)
    return found


def groups() -> list[str]:
    """Names of the groups, sorted."""
    return sorted({maker.group for maker in makers().values()})
