"""How surfaces look: colours, textures, gloss, fine relief, and what shines through."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from training.makers.mesh import Mesh

RELIEFS = ("fractal", "fibre", "cells", "weave", "brushed")

Colour = np.ndarray | tuple[float, float, float]
"""sRGB or linear, 0 to 1, as the function says."""


@dataclass(frozen=True, slots=True)
class Material:
    """Opaque or thin surface. Colours are sRGB, 0 to 1; textures uint8 (rows, columns, 3 or 4).

    A fourth channel of the texture cuts out what is below a half.
    """

    colour: Colour = (0.8, 0.8, 0.8)
    texture: np.ndarray | None = None
    back: np.ndarray | tuple[float, float, float] | None = None  # colour of the other face
    roughness: float = 0.6  # 0 mirror, 1 matt
    metal: float = 0.0  # share of metallic reflection, 0 to 1
    gloss: float = 1.0  # strength of the reflection of what is no metal; 1 is that of glass
    relief: str = "fractal"
    bump: float = 0.0  # strength of the fine relief, about 0 to 1
    grain: float = 30.0  # tiles of the fine relief to a metre
    mottle: float = 0.0  # how much the relief also darkens, 0 to 1
    through: float = 0.0  # light that passes a thin surface, 0 to 1
    facets: float = 0.0  # 1: each triangle is flat, as in crumpled foil
    clear: Clear | None = None


@dataclass(frozen=True, slots=True)
class Clear:
    """What can be seen through: bottles, glasses, bags of film."""

    tint: Colour = (0.97, 0.98, 0.97)  # passed at right angle
    haze: float = 0.0  # share covered by the surface's own colour, 0 to 1
    bend: float = 0.12  # how far the view behind is shifted at the rim, share of the picture
    rim: float = 0.5  # how much of the rim shows the surroundings instead, 0 to 1
    shade: float = 0.3  # share of light that its shadow takes


@dataclass(slots=True)
class Part:
    """A mesh with its material."""

    mesh: Mesh
    material: Material


@dataclass(slots=True)
class Item:
    """One object: parts in metres about the origin, its form and how it may lie.

    `poses` are names that `training.makers.pose` knows: `stands` (as modelled), `upside_down`,
    `lies` (on its side) and `settles` (on a random face on which it is stable).
    """

    form: str
    parts: list[Part]
    poses: tuple[str, ...] = ("settles",)
    detail: str = ""
    weights: tuple[float, ...] | None = None
    sink: float = 0.0  # m that it may lie below the floor's surface, as in grass
    tags: dict[str, float] = field(default_factory=dict)


def paper(colour: Colour, **other: Any) -> Material:
    """Matt fibre surface."""
    return replace(Material(colour, roughness=0.9, gloss=0.3, bump=0.08, grain=25), **other)


def plastic(colour: Colour, roughness: float = 0.35, **other: Any) -> Material:
    """Smooth surface with highlights."""
    return replace(Material(colour, roughness=roughness), **other)


def metal(colour: Colour, roughness: float = 0.3, **other: Any) -> Material:
    """Bare metal."""
    return replace(Material(colour, roughness=roughness, metal=1.0), **other)
