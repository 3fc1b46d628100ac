"""Aluminium foil: sheets, balls, trays, lids of pots, chocolate wrappings."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, metal
from training.makers.mesh import fine_profile, sheet, turned
from training.makers.noise import creases
from training.makers.prints import print_label, stained
from training.makers.warps import crumpled_ball, crumpled_sheet, crushed_parts, lump


def _look(dice: Dice, *, facets: float = 0.0, texture: np.ndarray | None = None) -> Material:
    colour = dice.pick(
        (dice.grey(0.78, 0.93, 0.01), dice.colour((0.1, 0.14), (0.3, 0.6), (0.7, 0.9))), (12, 1)
    )
    return metal(
        (1, 1, 1) if texture is not None else colour,
        dice.between(0.12, 0.45),
        texture=texture,
        bump=dice.between(0.05, 0.25),
        grain=dice.between(8, 25),
        facets=facets,
        back=dice.grey(0.75, 0.9, 0.01),
    )


def foil_ball(dice: Dice) -> Item:
    """Foil pressed into a ball or a lump."""
    made = crumpled_ball(dice, dice.between(0.015, 0.05), loose=dice.between_apart(0, 0.7))
    return Item("foil", [Part(made, _look(dice, facets=dice.pick((0.0, 1.0))))], detail="foil_ball")


def foil_sheet(dice: Dice) -> Item:
    """Sheet of foil, creased, at times torn or soiled."""
    wide = dice.between(0.07, 0.22)
    flat = sheet(wide, wide * dice.between(0.6, 1.4), 84, 84)
    made = crumpled_sheet(flat, dice, dice.between_apart(0.15, 0.75), scale=dice.between(0.04, 0.1))
    texture = None
    if dice.chance(0.3):
        texture = stained(np.full((128, 128, 3), 215, np.uint8), dice, dice.between(0.2, 0.8))
    look = _look(dice, facets=dice.pick((0.0, 0.0, 1.0)), texture=texture)
    return Item("foil", [Part(made, look)], ("stands",), "foil_sheet")


def foil_tray(dice: Dice) -> Item:
    """Tray or cup of thin aluminium with pleated walls, at times bent or soiled."""
    top, high = dice.between(0.03, 0.12), dice.between(0.015, 0.05)
    power = dice.pick((2.0, 6.0))
    low = top - high * dice.between(0.25, 0.5)
    lip = dice.between(0.003, 0.008)
    profile = [(0, 0), (low, 0), (top, high), (top + lip, high), (top + lip, high - 0.0015)]
    made = turned(
        fine_profile(profile, 6),
        sides=160,
        power=power,
        aspect=1.0 if power == 2 else dice.between(0.55, 1),
    )
    angle = np.arctan2(made.v[:, 1], made.v[:, 0])
    wall = np.clip(made.v[:, 2] / high, 0, 1) * (made.v[:, 2] < high * 1.01)
    pleats = 0.0009 * np.sin(angle * dice.whole(30, 56)) * wall
    made = made.along_normals(pleats)
    base = np.linalg.norm(made.v[:, :2], axis=1) < low * 0.85
    made = made.moved(
        np.stack([0 * angle, 0 * angle, 0.0008 * base * np.sin(made.v[:, 0] * 160)], 1)
    )
    texture = (
        stained(np.full((128, 128, 3), 220, np.uint8), dice, dice.between(0.3, 0.9))
        if dice.chance(0.3)
        else None
    )
    parts = [Part(made, _look(dice, texture=texture))]
    if dice.chance(0.4):
        parts = crushed_parts(parts, dice, dice.between(0.05, 0.55), 1.5)
    return Item("foil", parts, ("stands", "upside_down", "settles"), "foil_tray", (5, 1, 1))


def foil_lid(dice: Dice) -> Item:
    """Lid of a yoghurt pot or a printed wrapping of chocolate."""
    size = dice.between(0.03, 0.1)
    flat = sheet(size, size, 64, 64)
    if dice.chance(0.5):
        tab = np.linalg.norm(flat.v[:, :2], axis=1) < size / 2
        flat = type(flat)(flat.v, flat.uv, flat.f[tab[flat.f].all(1)])
    made = crumpled_sheet(flat, dice, dice.between(0.05, 0.4), scale=size * 0.6)
    if dice.chance(0.4):
        curl = np.linalg.norm(made.v[:, :2], axis=1) / size
        made = made.moved(np.stack([0 * curl, 0 * curl, 0.5 * size * curl**2], 1))
    texture = print_label(dice) if dice.chance(0.6) else None
    return Item(
        "foil", [Part(made, _look(dice, texture=texture))], ("stands", "upside_down"), "foil_lid"
    )


def foil_wrap(dice: Dice) -> Item:
    """Foil that still keeps the shape of what it was wrapped about."""
    made = lump(dice, 0.05, depth=0.2).scaled(
        (dice.between(0.6, 1.6), dice.between(0.4, 0.9), dice.between(0.25, 0.6))
    )
    fold = creases(made.v / 0.05, dice.rng, frequency=2.5, count=8)
    made = made.along_normals(0.0015 * fold)
    return Item("foil", [Part(made, _look(dice, facets=1.0))], detail="foil_wrap")


MAKERS = {
    "foil_ball": (foil_ball, 1.5),
    "foil_sheet": (foil_sheet, 2.0),
    "foil_tray": (foil_tray, 2.0),
    "foil_lid": (foil_lid, 1.0),
    "foil_wrap": (foil_wrap, 0.7),
}
