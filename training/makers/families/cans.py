"""Cans for drink and food, whole and crushed; lids and caps of metal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.families.metals import FORM
from training.makers.material import Item, Material, Part, metal
from training.makers.mesh import (
    fine_profile,
    rotation,
    smooth_profile,
    tube,
    turned,
)
from training.makers.prints import SIZE, print_label
from training.makers.warps import bent, crushed_parts


def metal_lid(dice: Dice) -> Item:
    """Lid of a jar, crown cap, or the cut-out end of a can."""
    kind = dice.pick(("jar", "crown", "end"), (4, 3, 2))
    colour = dice.pick(
        (
            dice.grey(0.75, 0.95),
            dice.colour((0.1, 0.14), (0.4, 0.7), (0.6, 0.85)),
            dice.colour(strength=(0.4, 0.95)),
        )
    )
    parts = []
    for i in range(dice.pick((1, 2, 4), (5, 1, 1))):
        look = Material(
            colour,
            roughness=dice.between(0.15, 0.4),
            gloss=1.3,
            metal=dice.pick((0.2, 0.8, 1.0)),
            back=dice.grey(0.7, 0.9),
        )
        radius = {
            "jar": dice.between(0.02, 0.045),
            "crown": 0.0145,
            "end": dice.between(0.025, 0.05),
        }[kind]
        high = {"jar": dice.between(0.008, 0.016), "crown": 0.006, "end": 0.002}[kind]
        top = [
            (radius, 0),
            (radius * 0.99, high * 0.85),
            (radius * 0.93, high),
            (radius * 0.8, high * 0.96),
            (0, high * 0.96),
        ]
        made = turned(fine_profile(top, 3), sides=84)
        angle = np.arctan2(made.v[:, 1], made.v[:, 0])
        if kind == "crown":
            skirt = 1 - made.v[:, 2] / high
            made = made.along_normals(0.0012 * np.cos(21 * angle) * skirt)
        elif kind == "end":
            r = np.linalg.norm(made.v[:, :2], axis=1) / radius
            made = made.moved(np.stack([0 * r, 0 * r, 0.0006 * np.cos(r * 25)], 1))
        if dice.chance(0.4):
            made.uv[:] = made.v[:, :2] / (2 * radius) + 0.5
            look = replace(look, colour=(1, 1, 1), texture=print_label(dice, ground=colour))
        if dice.chance(0.25):
            made = bent(made, dice.between(10, 70))
        if dice.chance(0.35):
            made = made.turned(rotation((1, 0, 0), np.pi)).moved((0, 0, high))
        spot = (2.3 * radius * (i % 2) + dice.rng.normal(0, 0.004), 2.3 * radius * (i // 2), 0)
        parts.append(Part(made.moved(spot), look))
    return Item(FORM, parts, ("stands",), "metal_lid")


def _can_parts(dice: Dice, radius: float, high: float, *, drink: bool) -> list[Part]:
    steel = metal(dice.grey(0.72, 0.9, 0.02), dice.between(0.12, 0.35))
    texture = print_label(dice, (2 * SIZE, SIZE + 128))
    side_look = Material(
        (1, 1, 1),
        texture,
        roughness=dice.between(0.12, 0.45),
        gloss=1.2,
        metal=dice.between(0.35, 0.85) if drink else dice.pick((0.0, 0.2)),
    )
    neck = radius * (0.82 if drink else 1.0)
    if drink:
        side = turned(
            smooth_profile(
                [
                    (radius * 0.8, 0.003),
                    (radius, 0.012),
                    (radius, high * 0.5),
                    (radius, high - 0.016),
                    (neck, high - 0.004),
                ],
                30,
            ),
            sides=64,
        )
        top = turned(
            [
                (neck, high - 0.004),
                (neck * 1.03, high),
                (neck * 0.97, high),
                (neck * 0.93, high - 0.005),
                (0, high - 0.004),
            ],
            sides=64,
        )
    else:
        z = np.linspace(0.002, high - 0.002, 60)
        paper_label = dice.chance(0.6)
        ribs = 0.0008 * np.sin(z / high * 2 * np.pi * dice.whole(6, 16)) * (not paper_label)
        side = turned(np.stack([radius + ribs, z], 1), sides=64)
        if not paper_label:
            side_look = steel
        top = turned(
            [
                (radius, high - 0.003),
                (radius * 1.02, high),
                (radius * 0.97, high),
                (radius * 0.95, high - 0.003),
                (radius * 0.6, high - 0.0025),
                (0, high - 0.0028),
            ],
            sides=64,
        )
    foot = turned(
        [
            (0, 0.009 if drink else 0.002),
            (radius * 0.7, 0.002),
            (radius * 0.78, 0.0),
            (radius * (0.8 if drink else 1.02), 0.003),
        ],
        sides=64,
    )
    return [Part(side, side_look), Part(top, steel), Part(foot, steel)]


def drink_can(dice: Dice) -> Item:
    """Drink can, opened, dented or flattened."""
    radius, high = dice.pick(((0.033, 0.115), (0.026, 0.13), (0.0285, 0.145), (0.033, 0.165)))
    parts = _can_parts(dice, radius, high, drink=True)
    dark = Material((0.02, 0.02, 0.02), roughness=0.9)
    hole = (
        turned([(0.0095, high - 0.0035), (0, high - 0.0034)])
        .scaled((1, 0.75, 1))
        .moved((0.012, 0, 0))
    )
    turn = np.linspace(0, 2 * np.pi, 24)
    tab = np.stack(
        [-0.006 + 0.009 * np.cos(turn), 0.006 * np.sin(turn), high - 0.002 + 0 * turn], 1
    )
    parts += [Part(hole, dark), Part(tube(tab, 0.0018, sides=8, flat=0.5), parts[1].material)]
    if dice.chance(0.5):
        parts = crushed_parts(parts, dice, dice.between(0.1, 0.85), dice.between(1.0, 2.2))
    return Item("drink_can", parts, ("stands", "lies", "settles"), "drink_can", (2, 4, 1))


def food_can(dice: Dice) -> Item:
    """Food can, closed, or open with its lid bent back."""
    radius = dice.between(0.026, 0.05)
    high = radius * dice.between(0.8, 2.9)
    parts = _can_parts(dice, radius, high, drink=False)
    if dice.chance(0.6):
        steel = parts[1].material
        inside = turned(
            fine_profile(
                [
                    (radius, high),
                    (radius - 0.002, high - 0.001),
                    (radius - 0.002, 0.004),
                    (0, 0.004),
                ],
                6,
            ),
            sides=64,
        )
        parts = [
            parts[0],
            parts[2],
            Part(
                inside,
                replace(
                    steel, colour=dice.pick((np.array([0.8, 0.8, 0.8]), np.array([0.9, 0.88, 0.8])))
                ),
            ),
        ]
        if dice.chance(0.7):
            lid = turned([(radius * 0.95, 0), (radius * 0.7, 0.001), (0, 0.0006)], sides=64)
            turn = rotation((0, 1, 0), -dice.between(0.6, 2.2))
            raised = lid.moved((radius * 0.95, 0, 0)).turned(turn).moved((-radius * 0.98, 0, high))
            parts.append(Part(raised, steel))
    if dice.chance(0.25):
        parts = crushed_parts(parts, dice, dice.between(0.05, 0.5), 1.4)
    return Item("food_can", parts, ("stands", "lies", "settles"), "food_can", (4, 3, 1))


MAKERS = {
    "metal_lid": (metal_lid, 1.5),
    "drink_can": (drink_can, 2.0),
    "food_can": (food_can, 2.0),
}
