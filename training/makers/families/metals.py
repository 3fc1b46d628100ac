"""Cutlery, keys, pans, lids, caps, cans whole and crushed, wire and screws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, metal, plastic
from training.makers.mesh import (
    Mesh,
    box,
    fine_profile,
    merge,
    rotation,
    tube,
    turned,
)
from training.makers.outlines import cut, relief, strokes_mask

FORM = "metal_other"


def _steel(dice: Dice, rough: tuple[float, float] = (0.1, 0.4)) -> Material:
    tone = dice.pick(
        (dice.grey(0.6, 0.88, 0.02), dice.colour((0.09, 0.13), (0.3, 0.6), (0.5, 0.85))), (9, 1)
    )
    return metal(tone, dice.between(*rough), relief="brushed", bump=dice.between(0, 0.12), grain=8)


def _cut_solid(
    lines: list, size: float, thick: float, look: Material, *, edge: float = 0.35
) -> Part:
    mask = strokes_mask(lines)
    texture = cut(np.full((8, 8, 3), 255, np.uint8), mask)
    tone = (np.asarray(look.colour) * 255).astype(np.uint8)
    texture[..., :3] = tone
    return Part(
        relief(mask, size, size, thick, edge=edge, steps=120),
        replace(look, colour=(1, 1, 1), texture=texture),
    )


def cutlery(dice: Dice) -> Item:
    """Fork, spoon or knife of steel, one to three, at times with handles of plastic."""
    parts = []
    look = _steel(dice)
    long = dice.between_apart(0.12, 0.22)
    for i in range(dice.pick((1, 2, 3), (6, 1, 1))):
        kind = dice.pick(("fork", "spoon", "knife"))
        turn = rotation((0, 0, 1), dice.rng.normal(0, 0.3))
        shift = np.array([0, 0.03 * i, 0.0005 * i])
        parts += [
            Part(p.mesh.turned(turn).moved(shift), p.material)
            for p in _piece(kind, long, look, dice)
        ]
    return Item(FORM, parts, ("stands", "upside_down"), "cutlery", (4, 1))


def _piece(kind: str, long: float, look: Material, dice: Dice) -> list[Part]:
    t = np.linspace(-0.92, 0.2, 20)
    wide = dice.between(0.05, 0.09)
    handle = [
        (np.stack([t[i : i + 2], [0, 0]], 1), wide * (0.55 + 0.45 * abs(t[i] + 0.35)))
        for i in range(19)
    ]
    if kind == "fork":
        tines = [(np.array([[0.48, y], [0.93, y]]), 0.028) for y in (-0.09, -0.03, 0.03, 0.09)]
        head = [
            (np.array([[0.2, 0], [0.34, 0]]), 0.1),
            (np.array([[0.36, -0.045], [0.5, -0.06]]), 0.12),
            (np.array([[0.36, 0.045], [0.5, 0.06]]), 0.12),
        ]
        lines = [*handle, *head, *tines]
    elif kind == "spoon":
        head = [
            (
                np.array([[x, 0.0], [x + 0.02, 0]]),
                0.34 * np.sqrt(max(0.04, 1 - ((x - 0.62) / 0.33) ** 2)),
            )
            for x in np.linspace(0.33, 0.92, 16)
        ]
        lines = [*handle, (np.array([[0.15, 0], [0.4, 0]]), 0.08), *head]
    else:
        blade = [
            (
                np.array([[x, 0.02 * np.sin(3 * x)], [x + 0.03, 0]]),
                0.14 * min(1, (0.97 - x) * 6 + 0.1),
            )
            for x in np.linspace(0.1, 0.93, 16)
        ]
        lines = [*handle, *blade]
    part = _cut_solid(lines, long, 0.0022, look)
    x = part.mesh.v[:, 0] / long
    lift = 0.012 * np.exp(-(((x - 0.12) / 0.13) ** 2)) + 0.004 * np.exp(-(((x + 0.4) / 0.2) ** 2))
    if kind == "spoon":
        y = part.mesh.v[:, 1] / long
        lift = (
            lift
            + 0.012
            * ((x - 0.31) ** 2 + y**2 < 0.03)
            * (0.5 - 12 * (0.03 - (x - 0.31) ** 2 - y**2))
            * 0.9
        )
    if kind == "knife":
        lift = lift * 0.1
    mesh = part.mesh.moved(np.stack([0 * x, 0 * x, lift], 1))
    parts = [Part(mesh, part.material)]
    if dice.chance(0.2):
        t = np.linspace(0, 1, 12)
        grip = tube(
            np.stack([long * (-0.48 + 0.42 * t), 0 * t, 0.004 + 0 * t], 1),
            long * 0.035 * (1 + 0.3 * t),
            flat=0.5,
        )
        parts.append(Part(grip, plastic(dice.pick((dice.grey(0.03, 0.2), dice.colour())))))
    return parts


def keys(dice: Dice) -> Item:
    """One to four keys, loose or on a ring."""
    parts = []
    count = dice.whole(1, 4)
    for i in range(count):
        look = _steel(dice)
        turn = np.linspace(0, 2 * np.pi, 26)
        head = np.stack([-0.6 + 0.24 * np.cos(turn), 0.24 * np.sin(turn)], 1)
        lines = [(head, dice.between(0.12, 0.2)), (np.array([[-0.35, 0], [0.9, 0]]), 0.12)]
        lines += [
            (np.array([[x, 0.03], [x, dice.between(0.06, 0.12)]]), 0.05)
            for x in np.linspace(0.2, 0.82, 7)
        ]
        part = _cut_solid(lines, dice.between(0.045, 0.065), 0.002, look, edge=0.0)
        spin = rotation((0, 0, 1), 0.5 * i + dice.rng.normal(0, 0.3)) @ rotation(
            (0, 1, 0), 0.04 * i
        )
        offset = np.array([0.024, 0, 0]) if count > 1 else np.zeros(3)
        parts.append(
            Part(part.mesh.moved(offset).turned(spin).moved((0, 0, 0.0021 * i)), part.material)
        )
    if count > 1:
        turn = np.linspace(0, 2 * np.pi, 50)
        for r in (0.011, 0.012):
            ring = np.stack([r * np.cos(turn), r * np.sin(turn), 0.004 + 0.002 * np.sin(turn)], 1)
            parts.append(Part(tube(ring, 0.0009, sides=8), _steel(dice)))
    return Item(FORM, parts, ("stands",), "keys")


def pan(dice: Dice) -> Item:
    """Frying pan or pot with handle, worn inside."""
    radius, deep = (
        dice.between(0.08, 0.15),
        dice.pick((dice.between(0.03, 0.05), dice.between(0.07, 0.13))),
    )
    low = radius * dice.between(0.75, 0.98)
    out = (
        _steel(dice)
        if dice.chance(0.6)
        else plastic(dice.pick((dice.grey(0.03, 0.12), dice.colour())), 0.3)
    )
    inner = dice.pick((plastic(dice.grey(0.04, 0.14), 0.45), _steel(dice)))
    outside = turned(fine_profile([(0, 0), (low, 0), (radius, deep)], 6), sides=64)
    inside = turned(
        fine_profile([(radius, deep), (radius - 0.003, deep), (low - 0.003, 0.004), (0, 0.004)], 6),
        sides=64,
    )
    parts = [Part(outside, out), Part(inside, inner)]
    if deep < 0.06 or dice.chance(0.5):
        t = np.linspace(0, 1, 12)
        grip = np.stack([radius + dice.between(0.1, 0.17) * t, 0 * t, deep * 0.8 + 0.02 * t], 1)
        parts.append(Part(tube(grip, 0.011, flat=0.6), plastic(dice.grey(0.03, 0.2))))
    else:
        turn = np.linspace(-1.2, 1.2, 16)
        for side in (-1, 1):
            ear = np.stack(
                [
                    side * (radius - 0.02 + 0.045 * np.cos(turn)),
                    0.03 * np.sin(turn),
                    deep * 0.8 + 0 * turn,
                ],
                1,
            )
            parts.append(Part(tube(ear, 0.004), out))
    return Item(FORM, parts, ("stands", "upside_down"), "pan", (5, 1))


def hardware(dice: Dice) -> Item:
    """Screws, bolts, nails, hinges and bits of wire."""
    parts = []
    kind = dice.pick(("screws", "wire", "hanger"))
    if kind == "screws":
        for _ in range(dice.whole(1, 6)):
            long, r = dice.between(0.02, 0.06), dice.between(0.0015, 0.004)
            z = np.linspace(0, long, 120)
            thread = r * (0.85 + 0.15 * np.sin(z / 0.0012)) * np.clip((z + 0.001) / 0.006, 0.2, 1)
            body = turned(
                np.concatenate(
                    [
                        [(0, 0)],
                        np.stack([thread, z], 1),
                        [(r * 2.2, long), (r * 2, long + r), (0, long + r)],
                    ]
                ),
                sides=20,
            )
            laid = body.turned(
                rotation((0, 0, 1), dice.between(0, 6.28)) @ rotation((0, 1, 0), np.pi / 2)
            )
            parts.append(Part(laid.moved((*dice.rng.normal(0, 0.02, 2), r * 2)), _steel(dice)))
    elif kind == "wire":
        t = np.linspace(0, 1, 160)
        w = dice.rng.normal(0, 1, (4, 3))
        path = sum(
            w[k] * np.sin(2 * np.pi * (k + 1) * t + k)[:, None] for k in range(4)
        ) * dice.between(0.012, 0.03)
        path = path + t[:, None] * [dice.between(0, 0.15), 0, 0]
        parts.append(
            Part(tube(path * [1, 1, 0.25], dice.between(0.0008, 0.002), sides=8), _steel(dice))
        )
    else:
        corners = np.array(
            [[-0.2, -0.05], [0.2, -0.05], [0.03, 0.06], [0, 0.07], [-0.03, 0.06], [-0.2, -0.05]]
        )
        path = np.concatenate([corners, [[-0.19, -0.05]]]) * dice.between(0.6, 1)
        flat = np.concatenate([path, np.full((len(path), 1), 0.002)], 1)
        turn = np.linspace(-np.pi / 2, np.pi, 20)
        hook = np.stack(
            [0.015 + 0.018 * np.cos(turn) - 0.015, 0.1 + 0.018 * np.sin(turn), 0.002 + 0 * turn], 1
        )
        parts.append(
            Part(
                merge([tube(_fine(flat), 0.0013, sides=8), tube(hook, 0.0013, sides=8)]),
                _steel(dice),
            )
        )
    return Item(FORM, parts, ("stands",), kind)


def _fine(path: np.ndarray) -> np.ndarray:
    return fine_profile(path, 12)


def tool(dice: Dice) -> Item:
    """Scissors or pliers: two blades and two grips that cross."""
    parts: list[Part] = []
    opening = dice.between(0.05, 0.45)
    grip_look = dice.pick(
        (plastic(dice.colour(strength=(0.6, 1))), plastic(dice.grey(0.03, 0.12)), _steel(dice))
    )
    steel = _steel(dice)
    for side in (-1, 1):
        t = np.linspace(0, 1, 20)
        blade = tube(
            np.stack([0.09 * t, 0 * t, 0.003 + 0 * t], 1),
            0.007 * (1 - 0.85 * t) + 0.0005,
            flat=0.25,
        )
        shank = tube(
            np.array([[0, 0, 0.003], [-0.03, side * -0.006, 0.003], [-0.04, side * -0.014, 0.003]]),
            0.005,
            flat=0.5,
        )
        a = np.linspace(0, 2 * np.pi, 30)
        loop = np.stack(
            [-0.062 + 0.024 * np.cos(a), side * -0.022 + 0.016 * np.sin(a), 0.004 + 0 * a], 1
        )
        turn = rotation((0, 0, 1), side * opening / 2)
        for mesh, look in ((blade, steel), (shank, steel), (tube(loop, 0.0045), grip_look)):
            parts.append(Part(mesh.turned(turn).moved((0, 0, 0.0015 * (side + 1))), look))
    screw: Mesh = box(0.006, 0.006, 0.007)
    parts.append(Part(screw, steel))
    return Item(FORM, parts, ("stands",), "scissors")


MAKERS = {
    "cutlery": (cutlery, 2.0),
    "keys": (keys, 1.0),
    "pan": (pan, 1.0),
    "hardware": (hardware, 1.0),
    "scissors": (tool, 0.7),
}
