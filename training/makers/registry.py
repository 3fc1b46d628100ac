"""All makers by name: the form each shows and the group it is left out with."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from training.makers import families
from training.makers.compose import Picture, Place, compose
from training.makers.dice import Dice
from training.makers.empty import EMPTY
from training.makers.material import Item

Make = Callable[[Dice], Item]
Photograph = Callable[[Dice, Place, int], Picture]


@dataclass(frozen=True, slots=True)
class Maker:
    """What makes one kind of picture: its name, its group, and how often it is drawn.

    `make` gives one item; `empty` instead photographs a scene without one.
    """

    name: str
    group: str
    weight: float
    make: Make | None = None
    empty: Photograph | None = None

    def picture(self, dice: Dice, place: Place, size: int) -> Picture:
        """Photograph what it makes, `size` px square."""
        if self.empty is not None:
            return self.empty(dice, place, size)
        return compose([self.item(dice)], dice, place, size=size)

    def item(self, dice: Dice) -> Item:
        """Make one item.

        Raises
        ------
        ValueError
            A maker of pictures without an item.
        """
        if self.make is None:
            raise ValueError(f"{self.name} makes pictures without an item")
        return self.make(dice)


@lru_cache(maxsize=1)
def makers() -> dict[str, Maker]:
    """Every maker of every family; a family's group is the name of its module."""
    found = {}
    for module in pkgutil.iter_modules(families.__path__):
        table = importlib.import_module(f"{families.__name__}.{module.name}").MAKERS
        for name, (make, weight) in table.items():
            found[name] = Maker(name, module.name, weight, make)
    for name, (photograph, weight) in EMPTY.items():
        found[name] = Maker(name, "empty", weight, empty=photograph)
    return found


def spread(dice: Dice, place: Place, count: int, *, size: int = 512) -> Picture:
    """Photograph `count` items of any form on one floor, from above.

    `Picture.numbers` tells the items apart and `Picture.forms` names them, for a network that has
    to find each item of a spread.

    Raises
    ------
    ValueError
        `count` is not 1 to `compose.MOST`.
    """
    choice = [maker for maker in makers().values() if maker.make]
    weights = [maker.weight for maker in choice]
    items = [dice.pick(choice, weights).item(dice) for _ in range(count)]
    return compose(items, dice, place, size=size)


def groups() -> list[str]:
    """Names of the groups, sorted."""
    return sorted({maker.group for maker in makers().values()})
