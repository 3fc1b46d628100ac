"""Mugs, plates, bowls, drinking glasses and pots of ceramics or glass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Clear, Item, Material, Part
from training.makers.mesh import Mesh, fine_profile, smooth_profile, tube, turned
from training.makers.prints import SIZE, print_label

FORM = "glass_ceramic_other"


def _glaze(dice: Dice) -> Material:
    colour = dice.pick(
        (
            dice.grey(0.8, 0.97, 0.03),
            dice.colour(strength=(0.2, 0.85), value=(0.25, 0.9)),
            dice.grey(0.08, 0.6, 0.04),
        ),
        (4, 3, 1),
    )
    return Material(
        colour,
        roughness=dice.between(0.05, 0.35),
        gloss=dice.between(0.8, 1.5),
        mottle=dice.pick((0.0, 0.0, 0.3)),
        grain=dice.between(8, 30),
    )


def _handle(
    radius: float, low: float, high: float, thick: float, dice: Dice, lean: float = 0.0
) -> Mesh:
    """Ear from the wall at `low` to the wall at `high`."""
    reach = dice.between(0.55, 0.95) * (high - low) / 1.4
    turn = np.linspace(-np.pi / 2, np.pi / 2, 24)
    power = dice.between(0.55, 1.0)
    x = radius - 0.002 + reach * np.cos(turn) ** power + lean * np.sin(turn)
    z = (low + high) / 2 + (high - low) / 2 * np.sin(turn)
    return tube(np.stack([x, np.zeros_like(x), z], 1), thick, flat=dice.between(1.0, 1.8))


def mug(dice: Dice) -> Item:
    """Mug or cup with a handle, plain or printed, other glaze inside at times."""
    radius, high = dice.between(0.034, 0.05), dice.between_apart(0.06, 0.115)
    thick = dice.between(0.003, 0.005)
    kind = dice.pick(("straight", "belly", "cone", "tea"))
    foot = radius * {"straight": 1.0, "belly": 0.75, "cone": 0.75, "tea": 0.5}[kind]
    middle = radius * {"straight": 1.0, "belly": 1.15, "cone": 0.9, "tea": 0.85}[kind]
    top = radius * {"straight": 1.0, "belly": 0.95, "cone": 1.05, "tea": 1.15}[kind]
    wall = smooth_profile(
        [(foot * 0.92, 0), (foot, high * 0.06), (middle, high * 0.45), (top, high)], 20
    )
    outside = turned(np.concatenate([[(0, 0.002), (foot * 0.85, 0.002), (foot * 0.86, 0)], wall]))
    lip = [(top - thick * 0.3, high + thick * 0.35), (top - thick * 0.8, high)]
    inner = wall[::-1][:-2] - [thick, 0]
    inside = turned(
        np.concatenate([wall[-1:], lip, inner, [(foot * 0.7, thick * 1.6), (0, thick * 1.5)]])
    )
    look = _glaze(dice)
    out = look
    if dice.chance(0.4):
        texture = print_label(dice, (2 * SIZE, SIZE), np.asarray(look.colour, np.float32))
        out = replace(look, colour=(1, 1, 1), texture=texture)
    within = replace(look, colour=dice.grey(0.85, 0.96)) if dice.chance(0.35) else look
    at = dice.between(0.15, 0.25), dice.between(0.75, 0.9)
    wall_at = float(np.interp(high * 0.5, wall[:, 1], wall[:, 0]))
    ear = _handle(
        min(wall_at, middle), at[0] * high, at[1] * high, dice.between(0.0035, 0.006), dice
    )
    parts = [Part(outside, out), Part(inside, within), Part(ear, look)]
    if dice.chance(0.25):
        drink = turned(
            [
                (0.0, high * 0.75),
                (np.interp(high * 0.75, wall[:, 1], wall[:, 0]) - thick * 1.1, high * 0.75),
            ]
        ).flipped()
        parts.append(
            Part(
                drink, Material(dice.colour((0.04, 0.09), (0.6, 0.9), (0.08, 0.4)), roughness=0.05)
            )
        )
    return Item(FORM, parts, ("stands", "lies", "upside_down", "settles"), "mug", (8, 2, 1, 1))


def plate(dice: Dice) -> Item:
    """Plate or saucer, at times with a coloured edge or a pattern."""
    radius, high = dice.between_apart(0.07, 0.15), dice.between(0.012, 0.03)
    well, thick = radius * dice.between(0.55, 0.75), 0.004
    power = dice.pick((2.0, 2.0, 2.0, 5.0))
    line = np.concatenate(
        [
            [(0, 0.003), (well * 0.8, 0.003), (well * 0.82, 0), (well * 0.88, 0)],
            smooth_profile([(well, 0.004), (radius * 0.9, high * 0.75), (radius, high)], 8),
            [(radius, high + thick * 0.7)],
            smooth_profile(
                [
                    (radius * 0.9, high * 0.8 + thick),
                    (well, 0.009),
                    (well * 0.9, 0.006),
                    (0, 0.006),
                ],
                12,
            ),
        ]
    )
    look = _glaze(dice)
    parts = [Part(turned(line, sides=72, power=power), look)]
    for share in (0.985, dice.between(0.75, 0.9)):
        if dice.chance(0.3):
            at = radius * share
            z = (
                np.interp(
                    at, [well, radius * 0.9, radius], [0.009, high * 0.8 + thick, high + thick]
                )
                + 0.0005
            )
            band = turned(
                [(at, z), (at - dice.between(0.001, 0.006), z - 0.0004)], sides=72, power=power
            )
            parts.append(
                Part(band, replace(look, colour=dice.colour(strength=(0.4, 0.9), value=(0.1, 0.8))))
            )
    return Item(FORM, parts, ("stands", "upside_down"), "plate", (5, 1))


def bowl(dice: Dice) -> Item:
    """Bowl, another colour inside at times."""
    radius, share = dice.between(0.05, 0.12), dice.between_apart(0.35, 0.8)
    high, thick = radius * share, dice.between(0.0025, 0.005)
    foot = radius * dice.between(0.35, 0.55)
    wall = smooth_profile(
        [(foot, 0.004), (radius * 0.75, high * dice.between(0.25, 0.45)), (radius, high)], 18
    )
    outside = turned(
        np.concatenate([[(0, 0.003), (foot * 0.9, 0.003), (foot * 0.9, 0), (foot, 0)], wall]),
        sides=64,
    )
    inside = turned(
        np.concatenate(
            [
                wall[-1:],
                [(radius - thick / 2, high + thick / 2)],
                wall[::-1] - [thick, -thick * 0.5],
                [(0, 0.004 + thick)],
            ]
        ),
        sides=64,
    )
    look = _glaze(dice)
    within = _glaze(dice) if dice.chance(0.3) else look
    return Item(
        FORM,
        [Part(outside, look), Part(inside, within)],
        ("stands", "upside_down", "settles"),
        "bowl",
        (6, 1, 1),
    )


def flower_pot(dice: Dice) -> Item:
    """Pot of fired clay, glazed or bare."""
    top = dice.between(0.04, 0.11)
    high = top * dice.between(1.4, 2.1)
    low, lip = top * dice.between(0.6, 0.8), high * dice.between(0.15, 0.25)
    profile = [
        (0, 0),
        (low, 0),
        (top * 0.93, high - lip),
        (top, high - lip),
        (top * 1.02, high),
        (top * 0.92, high),
        (low * 0.9, 0.012),
        (0, 0.012),
    ]
    clay = Material(
        dice.colour((0.02, 0.07), (0.45, 0.7), (0.45, 0.8)),
        roughness=0.95,
        gloss=0.2,
        bump=0.08,
        mottle=0.25,
    )
    return Item(
        FORM,
        [Part(turned(fine_profile(profile, 4)), clay if dice.chance(0.65) else _glaze(dice))],
        ("stands", "lies", "upside_down", "settles"),
        "pot",
        (4, 2, 1, 1),
    )


def drinking_glass(dice: Dice) -> Item:
    """Tumbler or stemmed glass."""
    high, top = dice.between(0.07, 0.16), dice.between(0.03, 0.045)
    if dice.chance(0.6):
        low = top * dice.between(0.65, 1.0)
        outer = fine_profile([(0, 0), (low, 0), (top, high)], 10)
        inner = fine_profile([(top - 0.002, high), (low - 0.003, 0.01), (0, 0.009)], 10)
    else:
        stem = high * dice.between(0.35, 0.5)
        outer = smooth_profile(
            [
                (top * 0.9, 0),
                (top * 0.85, 0.003),
                (0.005, 0.01),
                (0.004, stem * 0.9),
                (0.012, stem),
                (top * 1.1, high * 0.7),
                (top * 0.85, high),
            ],
            40,
        )
        inner = smooth_profile(
            [
                (top * 0.85 - 0.001, high),
                (top * 1.1 - 0.001, high * 0.7),
                (0.008, stem + 0.004),
                (0, stem + 0.003),
            ],
            20,
        )
    look = Material(
        dice.grey(0.9, 1),
        roughness=0.03,
        clear=Clear(dice.grey(0.93, 0.99, 0.015), haze=0.01, bend=0.14, rim=0.75, shade=0.35),
    )
    return Item(
        FORM,
        [Part(turned(outer), look), Part(turned(inner), look)],
        ("stands", "lies"),
        "glass",
        (3, 2),
    )


MAKERS = {
    "mug": (mug, 3.0),
    "plate": (plate, 1.5),
    "bowl": (bowl, 1.5),
    "flower_pot": (flower_pot, 0.5),
    "drinking_glass": (drinking_glass, 1.0),
}
