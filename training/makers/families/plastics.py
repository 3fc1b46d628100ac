"""Tubs, trays, pots and lids of plastic; foam; toys, brushes, sponges, pens and straws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.families.metals import cutlery
from training.makers.material import Clear, Item, Material, Part, metal, plastic
from training.makers.mesh import (
    Mesh,
    ball,
    box,
    fine_profile,
    grid,
    merge,
    rotation,
    smooth_profile,
    tube,
    turned,
)
from training.makers.prints import SIZE, print_label
from training.makers.warps import crushed_parts

OTHER = "plastic_other"


def bright(dice: Dice) -> np.ndarray:
    """Draw a colour of plastic goods."""
    return dice.pick(
        (dice.colour(strength=(0.5, 1)), dice.grey(0.85, 0.98), dice.grey(0.03, 0.2)), (5, 2, 1)
    )


def toothbrush(dice: Dice) -> Item:
    """Toothbrush, dish brush or comb-like thing with bristles."""
    long = dice.between(0.13, 0.19)
    t = np.linspace(0, 1, 40)
    wide = 0.0055 * (0.75 + 0.35 * np.sin(t * 7)) * np.where(t > 0.72, 0.75, 1.0)
    path = np.stack([long * t, 0 * t, 0.006 + 0.003 * np.sin(3 * t)], 1)
    colour = bright(dice)
    parts = [
        Part(tube(path, wide, flat=0.6), plastic(colour, 0.25)),
        Part(
            tube(path[8:22] + np.array([0, 0, 0.002]), 0.0035, flat=0.6), plastic(bright(dice), 0.6)
        ),
    ]
    tufts = [
        turned([(0.0009, 0), (0.0011, 0.011), (0, 0.011)], sides=8).moved(
            (long * (0.84 + 0.022 * i), 0.0023 * j, 0.008)
        )
        for i in range(7)
        for j in (-1.5, -0.5, 0.5, 1.5)
    ]
    parts.append(
        Part(merge(tufts), Material(dice.pick((dice.grey(0.9, 1), dice.colour())), roughness=0.9))
    )
    return Item(OTHER, parts, ("settles", "stands"), "toothbrush")


def pen(dice: Dice) -> Item:
    """Pens and felt tips, one to four."""
    parts = []
    for i in range(dice.pick((1, 2, 4), (5, 2, 1))):
        r, long = dice.between(0.0035, 0.007), dice.between(0.12, 0.15)
        line = [
            (0, 0),
            (r * 0.25, 0.001),
            (r * 0.9, 0.014),
            (r, 0.02),
            (r, long * 0.55),
            (r * 1.12, long * 0.56),
            (r * 1.12, long),
            (0, long),
        ]
        body = turned(fine_profile(line, 2), sides=24, power=dice.pick((2.0, 2.0, 3.0)))
        look = plastic(bright(dice), 0.25)
        if dice.chance(0.25):
            look = replace(
                look, clear=Clear((0.95, 0.97, 0.98), haze=0.15, bend=0.05, rim=0.4, shade=0.2)
            )
            parts.append(
                Part(
                    _laid(turned([(0.0012, 0.005), (0.0012, long * 0.9)], sides=10), i, dice, 7),
                    plastic(dice.colour((0.55, 0.7))),
                )
            )
        parts.append(Part(_laid(body, i, dice, 7), look))
        clip = (
            box(0.002, long * 0.28, 0.0012)
            .turned(rotation((1, 0, 0), np.pi / 2))
            .moved((r * 1.25, 0, long * 0.84))
        )
        parts.append(
            Part(_laid(clip, i, dice, 7), dice.pick((look, metal((0.75, 0.75, 0.75), 0.3))))
        )
    return Item(OTHER, parts, ("stands",), "pen")


def _laid(mesh: Mesh, i: int, dice: Dice, key: int) -> Mesh:
    """Lay a rod modelled upright; equal `i` and `key` give equal places."""
    fixed = Dice([i, key], held=dice.held)
    turn = (
        rotation((0, 0, 1), fixed.rng.normal(0, 0.3))
        @ rotation((0, 1, 0), np.pi / 2)
        @ rotation((0, 0, 1), fixed.between(0, 6))
    )
    return mesh.turned(turn).moved((fixed.rng.normal(0, 0.006), 0.02 * i, 0.007))


def straws(dice: Dice) -> Item:
    """Drinking straws and stirrers, straight or bent, one to five."""
    parts = []
    striped = dice.chance(0.4)
    for i in range(dice.whole(1, 5)):
        t = np.linspace(0, 1, 60)
        long, bend = dice.between(0.1, 0.22), dice.pick((0.0, dice.between(0.5, 1.6)))
        turn = bend * np.clip((t - 0.72) * 12, 0, 1)
        path = np.stack(
            [np.cumsum(np.cos(turn)), np.cumsum(np.sin(turn)), 0 * t], 1
        ) * long / 60 + [0, 0, 0.003]
        ridge = 0.0004 * np.sin(t * 400) * (np.abs(t - 0.76) < 0.05) * (bend > 0)
        made = tube(path, dice.between(0.0025, 0.004) + ridge, sides=12).turned(
            rotation((0, 0, 1), dice.rng.normal(0, 0.6))
        )
        look = plastic(bright(dice), 0.35, through=0.3)
        if striped:
            tile = np.zeros((64, 64, 3), np.uint8)
            stripe = ((np.arange(64)[:, None] * 4 + np.arange(64)[None]) // 32) % 2 == 0
            tile[:] = np.where(stripe[..., None], (np.asarray(bright(dice)) * 255), 245)
            look = replace(look, colour=(1, 1, 1), texture=np.tile(tile, (2, 1, 1)))
        parts.append(Part(made.moved((*dice.rng.normal(0, 0.015, 2), 0.001 * i)), look))
    return Item(OTHER, parts, ("stands",), "straws")


def toy(dice: Dice) -> Item:
    """Toy of bricks, wheels or rounded limbs."""
    kind = dice.pick(("bricks", "car", "figure"))
    parts = []
    if kind == "bricks":
        for _ in range(dice.whole(1, 6)):
            nx, ny = dice.pick(((1, 2), (2, 2), (2, 4), (2, 3)))
            w, d, h = nx * 0.008, ny * 0.008, 0.0096
            body = box(w, d, h)
            studs = [
                turned([(0.0024, 0), (0.0024, 0.0018), (0, 0.0018)], sides=18).moved(
                    ((i + 0.5) * 0.008 - w / 2, (j + 0.5) * 0.008 - d / 2, h)
                )
                for i in range(nx)
                for j in range(ny)
            ]
            turn = rotation((0, 0, 1), dice.between(0, 6.28)) @ rotation(
                (1, 0, 0), dice.pick((0.0, 0.0, np.pi / 2, np.pi))
            )
            made = merge([body, *studs]).turned(turn)
            made = made.moved((*dice.rng.normal(0, 0.02, 2), -made.v[:, 2].min()))
            parts.append(Part(made, plastic(dice.colour(strength=(0.7, 1)), 0.25)))
    elif kind == "car":
        long = dice.between(0.05, 0.15)
        body = turned(
            fine_profile(
                [
                    (0, 0.1),
                    (0.42, 0.1),
                    (0.5, 0.2),
                    (0.47, 0.42),
                    (0.3, 0.48),
                    (0.25, 0.75),
                    (0.2, 0.78),
                    (0, 0.78),
                ],
                3,
            ),
            sides=60,
            power=6,
            aspect=0.42,
        ).scaled(long)
        parts.append(Part(body, plastic(dice.colour(strength=(0.7, 1)), 0.2)))
        for x in (-0.28, 0.28):
            for y in (-0.2, 0.2):
                wheel = turned(
                    [(0, -0.04), (0.12, -0.04), (0.12, 0.04), (0.06, 0.045), (0, 0.04)], sides=30
                ).scaled(long)
                parts.append(
                    Part(
                        wheel.turned(rotation((1, 0, 0), np.pi / 2)).moved(
                            (x * long, y * long, 0.12 * long)
                        ),
                        plastic(dice.grey(0.02, 0.1), 0.5),
                    )
                )
    else:
        size = dice.between(0.03, 0.08)
        limbs = [
            ((0, 0, 0.5), (0.3, 0.22, 0.38)),
            ((0, 0, 1.05), (0.25, 0.25, 0.25)),
            ((0.33, 0, 0.6), (0.1, 0.1, 0.25)),
            ((-0.33, 0, 0.6), (0.1, 0.1, 0.25)),
            ((0.14, 0, 0.12), (0.12, 0.14, 0.2)),
            ((-0.14, 0, 0.12), (0.12, 0.14, 0.2)),
            ((0.17, 0, 1.25), (0.09, 0.06, 0.12)),
            ((-0.17, 0, 1.25), (0.09, 0.06, 0.12)),
        ]
        tones = [bright(dice) for _ in range(3)]
        for i, (spot, stretch) in enumerate(limbs):
            parts.append(
                Part(
                    ball(1.0, 4).scaled(stretch).moved(spot).scaled(size),
                    plastic(tones[min(i // 2, 2)], 0.3),
                )
            )
    return Item(OTHER, parts, ("settles", "stands"), f"toy_{kind}")


def sponge(dice: Dice) -> Item:
    """Dish sponge with a scouring layer, new or worn."""
    w, d, h = dice.between(0.07, 0.11), dice.between(0.05, 0.07), dice.between(0.018, 0.03)
    soft = Material(
        dice.colour((0.1, 0.17), (0.4, 0.9), (0.6, 0.95)) if dice.chance(0.6) else dice.colour(),
        roughness=1,
        gloss=0.1,
        relief="cells",
        bump=0.6,
        grain=16,
        mottle=0.6,
    )
    rough = Material(
        dice.colour((0.3, 0.4), (0.4, 0.8), (0.15, 0.4)) if dice.chance(0.7) else dice.colour(),
        roughness=1,
        gloss=0.1,
        relief="fibre",
        bump=0.7,
        grain=25,
        mottle=0.4,
    )
    parts = [
        Part(box(w, d, h * 0.75, 14), soft),
        Part(box(w, d, h * 0.25, 14).moved((0, 0, h * 0.75)), rough),
    ]
    parts = crushed_parts(parts, dice, dice.between(0.02, 0.25))
    return Item(OTHER, parts, ("settles",), "sponge")


def squeeze_tube(dice: Dice) -> Item:
    """Tube for paste or cream, squeezed, with its cap."""
    long, radius = dice.between(0.09, 0.17), dice.between(0.013, 0.024)
    t, a = np.linspace(0, 1, 50)[:, None], np.linspace(0, 2 * np.pi, 61)[None]
    flat = np.clip(1 - t * dice.between(0.85, 1.0), 0.05, 1)
    wide = radius * (1 + 0.45 * t)
    points = np.stack([wide * np.cos(a), radius * flat * np.sin(a), long * t + 0 * a], 2)
    body = grid(points, around=True)
    look = plastic((1, 1, 1), 0.3, texture=print_label(dice, (2 * SIZE, SIZE)))
    cap = turned([(0, -0.022), (radius * 0.6, -0.022), (radius * 0.75, -0.002), (radius, 0)])
    parts = crushed_parts(
        [Part(body, look), Part(cap, plastic(bright(dice)))], dice, dice.between(0.02, 0.3), 1.5
    )
    return Item(OTHER, parts, ("lies", "settles"), "squeeze_tube")


def plastic_cutlery(dice: Dice) -> Item:
    """Throw-away spoon, fork or knife of white or clear plastic."""
    made = cutlery(dice)
    tone = dice.pick(
        (dice.grey(0.88, 0.98), dice.grey(0.88, 0.98), dice.grey(0.03, 0.1), dice.colour())
    )
    parts = []
    for part in made.parts:
        texture = part.material.texture
        if texture is not None:
            texture = texture.copy()
            texture[..., :3] = (tone * 255).astype(np.uint8)
        parts.append(
            Part(
                part.mesh,
                plastic(
                    (1, 1, 1) if texture is not None else tone, 0.3, texture=texture, through=0.2
                ),
            )
        )
    return Item(OTHER, parts, made.poses, "plastic_cutlery", made.weights)


def hanger(dice: Dice) -> Item:
    """Clothes hanger or peg of plastic."""
    line = smooth_profile([(-0.19, -0.05), (-0.1, 0.0), (0, 0.035), (0.1, 0.0), (0.19, -0.05)], 40)
    path = np.concatenate([line, np.full((40, 1), 0.004)], 1)
    a = np.linspace(-np.pi / 2, np.pi * 0.95, 24)
    hook = np.stack([0.02 * np.cos(a), 0.075 + 0.02 * np.sin(a), 0.004 + 0 * a], 1)
    bar = np.array([[-0.185, -0.052, 0.004], [0.185, -0.052, 0.004]])
    look = plastic(bright(dice), 0.3)
    parts = [
        Part(merge([tube(path, 0.0055, flat=0.7), tube(bar, 0.0035)]), look),
        Part(tube(hook, 0.002), dice.pick((look, metal((0.75, 0.75, 0.75), 0.3)))),
    ]
    return Item(OTHER, parts, ("stands",), "hanger")


MAKERS = {
    "toothbrush": (toothbrush, 1.0),
    "pen": (pen, 1.0),
    "straws": (straws, 0.7),
    "toy": (toy, 1.5),
    "sponge": (sponge, 1.0),
    "squeeze_tube": (squeeze_tube, 0.7),
    "plastic_cutlery": (plastic_cutlery, 1.0),
    "hanger": (hanger, 0.4),
}
