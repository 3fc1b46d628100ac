"""Peel, cores, whole and rotten fruit, leaves of vegetables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.families.foods import FORM, brown, flesh, patchy
from training.makers.material import Item, Material, Part
from training.makers.mesh import Mesh, ball, grid, rotation, smooth_profile, tube, turned
from training.makers.noise import smooth_noise, tile_noise
from training.makers.outlines import blob, cut, polygon_mask, relief
from training.makers.warps import bent, crumpled_sheet, rippled


def banana_peel(dice: Dice) -> Item:
    """Peel in three to five strips that spread from the stalk."""
    yellow, spot = dice.colour((0.11, 0.15), (0.6, 0.9), (0.6, 0.92)), brown(dice)
    skin = flesh(
        patchy(dice, yellow, spot, share=dice.between(0.1, 0.75)),
        back=dice.colour((0.11, 0.14), (0.15, 0.4), (0.75, 0.95)),
    )
    parts = []
    count = dice.whole(3, 5)
    long = dice.between(0.11, 0.17)
    for i in range(count):
        t, u = np.linspace(0, 1, 40)[:, None], np.linspace(-1, 1, 12)[None]
        turn = 2 * np.pi * i / count + dice.rng.normal(0, 0.35)
        wide = 0.016 * np.sin(np.pi * (0.12 + 0.85 * t)) ** 0.7
        reach = long * t
        curl = dice.between(0.01, 0.04)
        high = (
            0.02 * np.exp(-t * 5)
            + curl * np.sin(np.pi * t) ** 2 * dice.between(0, 1)
            + 0.004 * u**2
            + 0.002
        )
        sway = dice.between(-0.03, 0.03) * t**2
        x, y = reach + 0 * u, wide * u + sway
        points = np.stack(
            [
                x * np.cos(turn) - y * np.sin(turn),
                x * np.sin(turn) + y * np.cos(turn),
                high + 0 * u + 0 * t,
            ],
            2,
        )
        made = grid(points)
        parts.append(Part(made if dice.chance(0.6) else made.flipped(), skin))
    stalk = tube(
        np.array([[0, 0, 0.012], [0.004, 0, 0.03], [0.012, 0.004, 0.045]]),
        np.array([0.011, 0.006, 0.005]),
    )
    parts.append(Part(stalk, replace(skin, back=None)))
    return Item(FORM, parts, ("stands",), "banana_peel")


def peel_strips(dice: Dice) -> Item:
    """Strips and curls of peel from potatoes, apples, carrots or citrus."""
    outer = dice.pick(
        (
            dice.colour((0.06, 0.09), (0.4, 0.7), (0.35, 0.6)),
            dice.colour((0.97, 1.03), (0.6, 0.9), (0.4, 0.8)),
            dice.colour((0.05, 0.09), (0.75, 1), (0.7, 0.95)),
            dice.colour((0.18, 0.3), (0.5, 0.8), (0.4, 0.75)),
        )
    )
    inner = dice.colour((0.08, 0.15), (0.1, 0.45), (0.75, 0.95))
    look = flesh(patchy(dice, outer, outer * 0.75), back=inner, rough=0.45)
    parts = []
    for _ in range(dice.whole(2, 14)):
        long, wide = dice.between(0.03, 0.09), dice.between(0.006, 0.014)
        t, u = np.linspace(-1, 1, 24)[:, None], np.linspace(-1, 1, 6)[None]
        shape = wide * np.sqrt(np.clip(1.02 - t**2, 0, 1))
        points = np.stack(
            [long / 2 * t + 0 * u, shape * u, 0.12 * wide * np.cos(u * 1.4) + 0 * t], 2
        )
        made = bent(grid(points), dice.between(10, 230))
        twist = dice.between(-14, 14) * made.v[:, 0]
        c, s = np.cos(twist), np.sin(twist)
        v = made.v
        made = Mesh(
            np.stack([v[:, 0], c * v[:, 1] - s * v[:, 2], s * v[:, 1] + c * v[:, 2]], 1).astype(
                np.float32
            ),
            made.uv,
            made.f,
        )
        made = made.turned(
            rotation((0, 0, 1), dice.between(0, 6.28))
            @ rotation((1, 0, 0), dice.pick((0.0, np.pi)) + dice.rng.normal(0, 0.3))
        )
        spot = dice.rng.normal(0, 0.025, 2)
        parts.append(Part(made.moved((*spot, -made.v[:, 2].min() + dice.between(0, 0.012))), look))
    return Item(FORM, parts, ("stands",), "peel_strips")


def citrus_half(dice: Dice) -> Item:
    """Squeezed half or slice of a citrus fruit, or its peel."""
    hue = dice.pick(((0.06, 0.1), (0.13, 0.16), (0.2, 0.27), (0.0, 0.03)))
    rind, pulp = (
        dice.colour(hue, (0.7, 1), (0.7, 0.95)),
        dice.colour(hue, (0.45, 0.85), (0.7, 0.95)),
    )
    radius = dice.between(0.025, 0.05)
    shell = smooth_profile(
        [
            (0, 0),
            (radius * 0.7, radius * 0.25),
            (radius * 0.97, radius * 0.65),
            (radius, radius * 0.95),
        ],
        20,
    )
    n = 160
    y, x = np.mgrid[-1 : 1 : n * 1j, -1 : 1 : n * 1j]
    r, a = np.hypot(x, y), np.arctan2(y, x)
    white = np.array([0.97, 0.94, 0.85])
    wedge = np.clip((np.abs(((a * 10 / (2 * np.pi)) % 1) - 0.5) * r - 0.03) * 30, 0, 1) * np.clip(
        (0.87 - r) * 30, 0, 1
    )
    wedge = 1 - np.clip(1.0 - wedge, 0, 1) if dice.chance(0.85) else wedge * 0
    fine = 1 + 0.15 * tile_noise(n, dice.rng, slope=0.8)[..., None]
    face = white + (pulp * fine - white) * wedge[..., None]
    texture = (np.clip(face, 0, 1) * 255).astype(np.uint8)
    hollow = dice.chance(0.4)
    cap = turned(
        smooth_profile(
            [
                (radius, radius * 0.95),
                (radius * 0.9, radius * (0.5 if hollow else 0.97)),
                (0, radius * (0.25 if hollow else 0.95)),
            ],
            12,
        )
    )
    cap.uv[:] = cap.v[:, :2] / (2 * radius) + 0.5
    skin = flesh(
        patchy(dice, rind, rind * 0.85, slope=0.5),
        rough=0.45,
        relief="cells",
        bump=0.1,
        grain=25,
    )
    parts = [Part(turned(shell), skin), Part(cap, flesh(texture, 0.25))]
    return Item(FORM, parts, ("stands", "settles"), "citrus", (2, 1))


def apple_core(dice: Dice) -> Item:
    """Core of an apple or pear, or a bitten fruit, with a stalk."""
    high = dice.between(0.05, 0.075)
    waist = dice.between(0.25, 0.75)
    skin = dice.pick(
        (
            dice.colour((0.97, 1.03), (0.6, 0.9), (0.45, 0.85)),
            dice.colour((0.17, 0.25), (0.5, 0.8), (0.5, 0.8)),
        )
    )
    pulp = dice.colour((0.1, 0.14), (0.2, 0.5), (0.6, 0.92))
    r = high * 0.5
    line = smooth_profile(
        [
            (0, 0.006),
            (r * 0.4, 0),
            (r * 0.75, high * 0.15),
            (r * waist * 0.7, high * 0.45),
            (r * waist * 0.7, high * 0.6),
            (r * 0.85, high * 0.85),
            (r * 0.5, high),
            (0, high * 0.92),
        ],
        50,
    )
    body = turned(line, sharp=False)
    bites = smooth_noise(body.v / high, dice.rng, frequency=3.5, octaves=2)
    body = body.along_normals(0.006 * bites)
    rows = np.linspace(0, 1, 128)[:, None, None]
    ends = np.clip((np.abs(rows - 0.5) - dice.between(0.28, 0.4)) * 20, 0, 1)
    texture = patchy(dice, pulp, brown(dice) * 1.2, share=dice.between(0.1, 0.6)) / 255.0
    texture = texture + (skin - texture) * ends
    parts = [Part(body, flesh((np.clip(texture, 0, 1) * 255).astype(np.uint8), 0.4))]
    stalk = np.array([[0, 0, high * 0.9], [0.002, 0, high * 1.05], [0.006, 0.001, high * 1.22]])
    parts.append(Part(tube(stalk, 0.0012, sides=8), Material(brown(dice), roughness=0.9)))
    return Item(FORM, parts, ("lies", "settles", "stands"), "apple_core", (4, 1, 1))


def fruit(dice: Dice) -> Item:
    """Whole or rotten fruit or vegetable of a round or long shape."""
    hue = dice.pick(
        ((0.97, 1.03), (0.05, 0.1), (0.11, 0.15), (0.2, 0.35), (0.75, 0.9), (0.07, 0.09))
    )
    base = dice.colour(hue, (0.5, 0.95), (0.4, 0.9))
    rot = patchy(dice, base, dice.pick((brown(dice), base * 0.8)), share=dice.between(0.05, 0.5))
    sphere = ball(1.0, 4)
    size = dice.between(0.02, 0.05)
    long = dice.pick((1.0, 1.0, dice.between(1.5, 4)))
    body = sphere.scaled(
        (size * long**0.6, size / long**0.25, size / long**0.25 * dice.between(0.8, 1))
    )
    body = rippled(body, dice, size * dice.between(0.02, 0.18), 22)
    if long > 1.4 and dice.chance(0.5):
        body = bent(body, dice.between(10, 80))
    return Item(FORM, [Part(body, flesh(rot, dice.between(0.2, 0.7)))], detail="fruit")


def vegetable_leaf(dice: Dice) -> Item:
    """Leaves of lettuce or cabbage, or ends of vegetables."""
    green = dice.colour((0.2, 0.34), (0.35, 0.8), (0.35, 0.8))
    parts = []
    for _ in range(dice.whole(1, 4)):
        outline = blob(dice.rng, rough=0.25, low=3)
        mask = polygon_mask(outline)
        size = dice.between(0.06, 0.14)
        made = relief(mask, size, size * dice.between(0.5, 1), 0.001, hollow=True)
        wavy = crumpled_sheet(made, dice, dice.between(0.15, 0.5), scale=0.06)
        n = 160
        face = patchy(dice, green, green * 0.7, size=n) / 255.0
        y, x = np.mgrid[-1 : 1 : n * 1j, -1 : 1 : n * 1j]
        vein = np.exp(-np.abs(y) * 30) + 0.5 * np.exp(-np.abs(np.sin(8 * (x - np.abs(y)))) * 14)
        face = face + (np.array([0.85, 0.92, 0.7]) - face) * np.clip(vein, 0, 0.8)[..., None]
        texture = cut((np.clip(face, 0, 1) * 255).astype(np.uint8), mask)
        look = Material((1, 1, 1), texture, roughness=0.4, gloss=0.8, through=0.3, bump=0.1)
        spun = wavy.turned(rotation((0, 0, 1), dice.between(0, 6.28))).moved(
            (*dice.rng.normal(0, 0.02, 2), dice.between(0, 0.012))
        )
        parts.append(Part(spun, look))
    return Item(FORM, parts, ("stands",), "vegetable_leaf")


MAKERS = {
    "banana_peel": (banana_peel, 2.0),
    "peel_strips": (peel_strips, 2.0),
    "citrus_half": (citrus_half, 1.5),
    "apple_core": (apple_core, 1.5),
    "fruit": (fruit, 1.0),
    "vegetable_leaf": (vegetable_leaf, 1.0),
}
