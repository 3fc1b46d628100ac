"""Tubs, trays, pots and lids of plastic; foam; toys, brushes, sponges, pens and straws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Clear, Item, Material, Part, metal, plastic
from training.makers.mesh import (
    Mesh,
    ball,
    box,
    fine_profile,
    merge,
    rotation,
    smooth_profile,
    tube,
    turned,
)
from training.makers.prints import SIZE, print_label
from training.makers.warps import crushed_parts, rippled

OTHER = "plastic_other"


def _bright(dice: Dice) -> np.ndarray:
    return dice.pick(
        (dice.colour(strength=(0.5, 1)), dice.grey(0.85, 0.98), dice.grey(0.03, 0.2)), (5, 2, 1)
    )


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
    colour = dice.pick((white, white, _bright(dice)))
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
            "coloured": _bright(dice),
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
        look = plastic(_bright(dice), dice.between(0.25, 0.5))
        spot = np.array([*dice.rng.normal(0, 0.03, 2) * (i > 0), 0]) + [
            0.04 * (i % 3),
            0.04 * (i // 3),
            0,
        ]
        for mesh in (made.along_normals(ribs), inner):
            laid = mesh.moved((0, 0, -high / 2)).turned(flip).moved((0, 0, high / 2))
            parts.append(Part(laid.moved(spot), look))
    return Item(OTHER, parts, ("stands",), "plastic_lid")


def toothbrush(dice: Dice) -> Item:
    """Toothbrush, dish brush or comb-like thing with bristles."""
    long = dice.between(0.13, 0.19)
    t = np.linspace(0, 1, 40)
    wide = 0.0055 * (0.75 + 0.35 * np.sin(t * 7)) * np.where(t > 0.72, 0.75, 1.0)
    path = np.stack([long * t, 0 * t, 0.006 + 0.003 * np.sin(3 * t)], 1)
    colour = _bright(dice)
    parts = [
        Part(tube(path, wide, flat=0.6), plastic(colour, 0.25)),
        Part(tube(path[8:22] + [0, 0, 0.002], 0.0035, flat=0.6), plastic(_bright(dice), 0.6)),
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
        look = plastic(_bright(dice), 0.25)
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
        look = plastic(_bright(dice), 0.35, through=0.3)
        if striped:
            tile = np.zeros((64, 64, 3), np.uint8)
            stripe = ((np.arange(64)[:, None] * 4 + np.arange(64)[None]) // 32) % 2 == 0
            tile[:] = np.where(stripe[..., None], (np.asarray(_bright(dice)) * 255), 245)
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
        tones = [_bright(dice) for _ in range(3)]
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
    from training.makers.mesh import grid

    body = grid(points, around=True)
    look = plastic((1, 1, 1), 0.3, texture=print_label(dice, (2 * SIZE, SIZE)))
    cap = turned([(0, -0.022), (radius * 0.6, -0.022), (radius * 0.75, -0.002), (radius, 0)])
    parts = crushed_parts(
        [Part(body, look), Part(cap, plastic(_bright(dice)))], dice, dice.between(0.02, 0.3), 1.5
    )
    return Item(OTHER, parts, ("lies", "settles"), "squeeze_tube")


def plastic_cutlery(dice: Dice) -> Item:
    """Throw-away spoon, fork or knife of white or clear plastic."""
    from training.makers.families.metals import cutlery

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


def _foam(dice: Dice) -> Material:
    colour = dice.pick(
        (
            dice.grey(0.9, 0.99, 0.01),
            dice.grey(0.03, 0.1),
            dice.colour(strength=(0.1, 0.4), value=(0.8, 1)),
        ),
        (8, 1, 1),
    )
    return Material(
        colour,
        roughness=0.75,
        gloss=0.35,
        relief="cells",
        bump=dice.between(0.1, 0.4),
        grain=dice.between(9, 20),
        mottle=0.12,
        through=0.1,
    )


def foam_tray(dice: Dice) -> Item:
    """Tray, clamshell or bowl of foam."""
    top = dice.between(0.06, 0.12)
    high, power, aspect = dice.between(0.015, 0.045), dice.pick((2.0, 6.0)), dice.between(0.6, 1)
    low = top - dice.between(0.3, 0.7) * high
    thick = 0.0035
    line = [
        (0, 0),
        (low, 0),
        (top, high),
        (top + 0.004, high),
        (top + 0.004, high + thick),
        (top - 0.002, high + thick),
        (low - 0.002, thick),
        (0, thick),
    ]
    made = turned(
        fine_profile(line, 5), sides=84, power=power, aspect=1.0 if power == 2 else aspect
    )
    look = _foam(dice)
    parts = [Part(made, look)]
    if power > 2 and dice.chance(0.45):
        half = top * aspect + 0.006
        turn = rotation((1, 0, 0), -dice.between(0.3, 2.8))
        lid = (
            made.turned(rotation((1, 0, 0), np.pi))
            .moved((0, -half, 0))
            .turned(turn)
            .moved((0, half, high + thick))
        )
        parts.append(Part(lid, look))
    if dice.chance(0.25):
        parts = crushed_parts(parts, dice, dice.between(0.05, 0.3), 1.4)
    return Item("plastic_foam", parts, ("stands", "upside_down", "settles"), "foam_tray", (4, 2, 1))


def foam_block(dice: Dice) -> Item:
    """Packing block or broken piece of foam, with recesses, or loose pieces."""
    look = _foam(dice)
    if dice.chance(0.3):
        bits = []
        for _ in range(dice.whole(3, 14)):
            t = np.linspace(0, np.pi * dice.between(0.6, 1.1), 14)
            bit = tube(np.stack([0.014 * np.cos(t), 0.014 * np.sin(t), 0 * t], 1), 0.008).turned(
                rotation(dice.rng.normal(size=3), dice.between(0, 3))
            )
            bits.append(bit.moved((*dice.rng.normal(0, 0.035, 2), -bit.v[:, 2].min())))
        return Item("plastic_foam", [Part(merge(bits), look)], ("stands",), "foam_pieces")
    w, d, h = dice.between(0.06, 0.25), dice.between(0.05, 0.15), dice.between(0.02, 0.09)
    body = box(w, d, h, 26)
    y = body.v[:, 1] / d
    for _ in range(dice.whole(0, 3)):
        at, half = dice.between(-0.35, 0.35), dice.between(0.06, 0.2)
        dip = (
            (np.abs(body.v[:, 0] / w - at) < half)
            * (np.abs(y) < dice.between(0.2, 0.6))
            * (body.v[:, 2] > h * 0.98)
        )
        body = body.moved(np.stack([0 * y, 0 * y, dip * (-0.5 * h)], 1))
    body = rippled(body, dice, dice.pick((0.0005, 0.006)), 22)
    return Item("plastic_foam", [Part(body, look)], ("settles",), "foam_block")


def hanger(dice: Dice) -> Item:
    """Clothes hanger or peg of plastic."""
    line = smooth_profile([(-0.19, -0.05), (-0.1, 0.0), (0, 0.035), (0.1, 0.0), (0.19, -0.05)], 40)
    path = np.concatenate([line, np.full((40, 1), 0.004)], 1)
    a = np.linspace(-np.pi / 2, np.pi * 0.95, 24)
    hook = np.stack([0.02 * np.cos(a), 0.075 + 0.02 * np.sin(a), 0.004 + 0 * a], 1)
    bar = np.array([[-0.185, -0.052, 0.004], [0.185, -0.052, 0.004]])
    look = plastic(_bright(dice), 0.3)
    parts = [
        Part(merge([tube(path, 0.0055, flat=0.7), tube(bar, 0.0035)]), look),
        Part(tube(hook, 0.002), dice.pick((look, metal((0.75, 0.75, 0.75), 0.3)))),
    ]
    return Item(OTHER, parts, ("stands",), "hanger")


MAKERS = {
    "tub": (tub, 2.5), "tray": (tray, 2.5), "plastic_lid": (plastic_lid, 1.5), "toothbrush": (toothbrush, 1.0), "pen": (pen, 1.0),
    "straws": (straws, 0.7), "toy": (toy, 1.5), "sponge": (sponge, 1.0), "squeeze_tube": (squeeze_tube, 0.7),
    "plastic_cutlery": (plastic_cutlery, 1.0), "foam_tray": (foam_tray, 2.0), "foam_block": (foam_block, 2.0), "hanger": (hanger, 0.4),
}  # fmt: skip
