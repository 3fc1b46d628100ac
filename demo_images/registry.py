"""The list of item builders: each form has one or more variants."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

import bpy


@dataclass
class Item:
    """A built item; `flat` ones are photographed more from above.

    With `front`, its -y side is turned roughly towards the camera.
    """

    objects: list[bpy.types.Object]
    flat: bool = False
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
