"""The list of item builders: each form has one or more variants."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

import bpy

FROM_ABOVE = (48.0, 75.0)


@dataclass
class Item:
    """A built item.

    `rise` is the range of the camera's elevation in degrees. With `front`, the item's -y side is
    turned roughly towards the camera.
    """

    objects: list[bpy.types.Object]
    rise: tuple[float, float] = (28.0, 58.0)
    front: bool = False


Builder = Callable[[random.Random], Item]


@dataclass(frozen=True)
class Variant:
    """A way to build a form, and what the picture then shows."""

    build: Builder
    shows: str


VARIANTS: dict[str, list[Variant]] = {}


def variant(form: str, shows: str) -> Callable[[Builder], Builder]:
    """Register the decorated function as the next variant of `form`."""

    def register(build: Builder) -> Builder:
        VARIANTS.setdefault(form, []).append(Variant(build, shows))
        return build

    return register
