"""Tubs, pots, trays, lids and caps of plastic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.families.plastics import OTHER, bright
from training.makers.material import Clear, Item, Part, plastic
from training.makers.mesh import (
    Mesh,
    fine_profile,
    rotation,
    turned,
)
from training.makers.prints import SIZE, print_label
from training.makers.warps import crushed_parts


def _hollow(
    top: float, low: float, high: float, lip: float, power: float, aspect: float, ribs: float = 0.0
) -> tuple[Mesh, Mesh]:
    """Outside and inside of a tub with a rim."""
    wall = fine_profile([(low, 0.001), (top, high)], 24)
    wall[:, 0] += ribs * np.abs(np.sin(np.linspace(0, 12, len(wall))))
    outer = np.concatenate(
        [[(0, 0.001), (low * 0.95, 0)], wall, [(top + lip, high), (top + lip, high + 0.001)]]
    )
    inner = np.concatenate(
        [
            [(top + lip, high + 0.001), (top - 0.0008, high + 0.001)],
            (wall - [0.001, 0])[::-1],
            [(0, 0.0022)],
        ]
    )
    return (
        turned(outer, sides=84, power=power, aspect=aspect),
        turned(inner, sides=84, power=power, aspect=aspect),
    )


def tub(dice: Dice) -> Item:
    """Yoghurt pot, margarine tub or box, with or without lid, from any side."""
    top = dice.between(0.028, 0.09)
    high = top * dice.between_apart(0.5, 2.4)
    low = top * dice.between(0.68, 0.97)
    power = dice.pick((2.0, 2.0, 4.0, 9.0))
    aspect = 1.0 if power == 2 else dice.between(0.6, 1)
    outside, inside = _hollow(top, low, high, dice.between(0.002, 0.006), power, aspect)
    white = dice.grey(0.88, 0.98, 0.015)
    colour = dice.pick((white, white, bright(dice)))
    inner = plastic(colour, dice.between(0.2, 0.5), through=0.2)
    look = inner
    if dice.chance(0.65):
        look = replace(inner, colour=(1, 1, 1), texture=print_label(dice, (2 * SIZE, SIZE), colour))
    if dice.chance(0.2):
        look = inner = replace(
            plastic(dice.grey(0.85, 0.95), 0.12),
            clear=Clear(
                dice.grey(0.93, 0.99, 0.01),
                haze=dice.between(0.02, 0.15),
                bend=0.04,
                rim=0.35,
                shade=0.2,
            ),
        )
    parts = [Part(outside, look), Part(inside, inner)]
    if dice.chance(0.2):
        parts = crushed_parts(parts, dice, dice.between(0.1, 0.5), 1.3)
    elif dice.chance(0.35):
        cover = turned(
            [
                (top + 0.007, high - 0.004),
                (top + 0.008, high + 0.003),
                (top, high + 0.004),
                (top * 0.9, high + 0.002),
                (0, high + 0.002),
            ],
            sides=84,
            power=power,
            aspect=aspect,
        )
        cover.uv[:] = cover.v[:, :2] / (2 * top + 0.018) + 0.5
        over = replace(inner, clear=None)
        if dice.chance(0.5):
            over = replace(over, colour=(1, 1, 1), texture=print_label(dice, ground=colour))
        parts.append(Part(cover, over))
    return Item(
        "plastic_tub_tray", parts, ("stands", "lies", "upside_down", "settles"), "tub", (5, 3, 2, 1)
    )


def tray(dice: Dice) -> Item:
    """Shallow tray or punnet, clear, black or white, ribbed; a lid hinged to it at times."""
    top = dice.between(0.05, 0.13)
    high = top * dice.between_apart(0.15, 0.7)
    power, aspect = dice.pick((6.0, 10.0)), dice.between(0.55, 1)
    outside, inside = _hollow(
        top,
        top - high * dice.between(0.15, 0.5),
        high,
        dice.between(0.004, 0.009),
        power,
        aspect,
        dice.pick((0.0, 0.0015)),
    )
    kind = dice.pick(("clear", "black", "white", "coloured"), (4, 2, 2, 1))
    if kind == "clear":
        look = replace(
            plastic(dice.grey(0.88, 0.96), 0.1),
            clear=Clear(
                dice.grey(0.93, 0.99, 0.01),
                haze=dice.between(0.02, 0.1),
                bend=0.05,
                rim=0.4,
                shade=0.2,
            ),
        )
    else:
        colour = {
            "black": dice.grey(0.02, 0.08),
            "white": dice.grey(0.88, 0.98),
            "coloured": bright(dice),
        }[kind]
        look = plastic(colour, dice.between(0.2, 0.5))
    parts = [Part(outside, look), Part(inside, look)] if kind != "clear" else [Part(outside, look)]
    if dice.chance(0.3):
        lid = [Part(p.mesh.scaled((1, 1, dice.between(0.3, 1))), p.material) for p in parts]
        turn = rotation((1, 0, 0), -dice.between(1.6, 3.1))
        half = top * aspect + 0.006
        hinged = [
            Part(
                p.mesh.turned(rotation((1, 0, 0), np.pi))
                .moved((0, -half, 0))
                .turned(turn)
                .moved((0, half, high)),
                p.material,
            )
            for p in lid
        ]
        parts += hinged
    if dice.chance(0.3):
        parts = crushed_parts(parts, dice, dice.between(0.05, 0.4), 1.3)
    return Item("plastic_tub_tray", parts, ("stands", "upside_down", "settles"), "tray", (5, 2, 1))


def plastic_lid(dice: Dice) -> Item:
    """Lids and screw caps, one to five."""
    parts = []
    for i in range(dice.pick((1, 2, 5), (5, 1, 1))):
        radius = dice.pick((0.0155, 0.019, dice.between(0.03, 0.06)))
        high = dice.between(0.007, 0.018)
        made = turned(
            [
                (radius - 0.0015, 0),
                (radius, 0),
                (radius, high * 0.9),
                (radius * 0.94, high),
                (0, high),
            ],
            sides=96,
        )
        ribs = (
            0.0004
            * np.sin(np.arctan2(made.v[:, 1], made.v[:, 0]) * 40)
            * (np.hypot(made.v[:, 0], made.v[:, 1]) > radius * 0.97)
        )
        inner = turned(
            [(radius - 0.0015, 0), (radius - 0.0018, high - 0.002), (0, high - 0.002)], sides=60
        ).flipped()
        flip = rotation((1, 0, 0), np.pi if dice.chance(0.4) else 0.0)
        look = plastic(bright(dice), dice.between(0.25, 0.5))
        slip = dice.rng.normal(0, 0.03, 2) * (i > 0)
        spot = (slip[0] + 0.04 * (i % 3), slip[1] + 0.04 * (i // 3), 0)
        for mesh in (made.along_normals(ribs), inner):
            laid = mesh.moved((0, 0, -high / 2)).turned(flip).moved((0, 0, high / 2))
            parts.append(Part(laid.moved(spot), look))
    return Item(OTHER, parts, ("stands",), "plastic_lid")


MAKERS = {
    "tub": (tub, 2.5),
    "tray": (tray, 2.5),
    "plastic_lid": (plastic_lid, 1.5),
}
