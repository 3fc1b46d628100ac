"""Leaves, twigs, flowers, grass, cones and bark."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.families.foods import patchy
from training.makers.material import Item, Material, Part
from training.makers.mesh import Mesh, ball, grid, merge, rotation, tube
from training.makers.noise import smooth_noise
from training.makers.outlines import cut, polygon_mask, relief
from training.makers.warps import bent, crumpled_sheet, rippled
from training.makers.wear import blades

FORM = "garden"


def _leaf_colour(dice: Dice) -> np.ndarray:
    return dice.pick(
        (
            dice.colour((0.2, 0.36), (0.4, 0.85), (0.2, 0.6)),
            dice.colour((0.03, 0.14), (0.4, 0.9), (0.25, 0.8)),
            dice.colour((0.98, 1.03), (0.5, 0.8), (0.3, 0.65)),
        ),
        (5, 4, 1),
    )


def _leaf_outline(kind: str, dice: Dice) -> np.ndarray:
    a = np.linspace(0, 2 * np.pi, 160, endpoint=False)
    if kind == "maple":
        r = 0.5 + 0.35 * np.abs(np.cos(2.5 * a)) ** 0.7 + 0.1 * np.abs(np.cos(12.5 * a))
        r = r * (1 - 0.35 * (np.cos(a) < -0.75))
    elif kind == "oak":
        r = 1 / np.sqrt((np.cos(a)) ** 2 + (np.sin(a) / dice.between(0.4, 0.6)) ** 2)
        r = r * (1 + 0.16 * np.cos(dice.whole(9, 13) * a))
    elif kind == "long":
        r = 1 / np.sqrt(np.cos(a) ** 2 + (np.sin(a) / dice.between(0.12, 0.25)) ** 2)
    else:
        r = 1 / np.sqrt(np.cos(a) ** 2 + (np.sin(a) / dice.between(0.45, 0.8)) ** 2)
        r = r * (1 + 0.25 * np.clip(np.cos(a), 0, 1) ** 6)
    teeth = 1 + dice.pick((0.0, 0.03)) * np.abs(np.sin(dice.whole(20, 40) * a))
    points = np.stack([r * teeth * np.cos(a), r * teeth * np.sin(a)], 1)
    return points * 0.95 / np.abs(points).max()


def leaf_part(dice: Dice, kind: str, size: float, colour: np.ndarray) -> list[Part]:
    """One leaf with veins and stalk, curled, its middle at the origin."""
    outline = _leaf_outline(kind, dice)
    mask = polygon_mask(outline)
    n = 160
    face = (
        patchy(dice, colour, colour * dice.between(0.5, 1.5), size=n, share=dice.between(0.2, 0.6))
        / 255.0
    )
    y, x = np.mgrid[-1 : 1 : n * 1j, -1 : 1 : n * 1j]
    vein = np.exp(-np.abs(y) * 40) + 0.6 * np.exp(-np.abs(np.sin(9 * (x + np.abs(y) * 0.8))) * 12)
    pale = np.clip(colour * 1.35 + 0.08, 0, 1)
    face = face + (pale - face) * np.clip(vein, 0, 0.7)[..., None]
    texture = cut((np.clip(face, 0, 1) * 255).astype(np.uint8), mask)
    made = relief(mask, size, size, 0.0, hollow=True, steps=40)
    made = crumpled_sheet(made, dice, dice.between(0.02, 0.3), scale=size * 0.5)
    made = bent(made, dice.between(0, 90))
    look = Material(
        (1, 1, 1), texture, roughness=dice.between(0.35, 0.8), gloss=0.7, through=0.25, back=None
    )
    parts = [Part(made, look)]
    if dice.chance(0.7):
        t = np.linspace(0, 1, 10)
        stalk = np.stack([-size * (0.45 + 0.35 * t), 0.02 * size * np.sin(3 * t), 0.004 + 0 * t], 1)
        parts.append(Part(tube(stalk, 0.0009, sides=7), Material(colour * 0.8, roughness=0.7)))
    return parts


def leaves(dice: Dice) -> Item:
    """One leaf, a few, or a heap, of one kind of tree."""
    kind = dice.pick(("oval", "oval", "maple", "oak", "long"))
    colour, parts = _leaf_colour(dice), []
    count = dice.pick((1, 3, 7, 16), (3, 3, 2, 2))
    size = dice.between(0.04, 0.11)
    for _ in range(count):
        tone = np.clip(colour * dice.between(0.7, 1.25), 0, 1)
        if dice.chance(0.2):
            tone = _leaf_colour(dice)
        turn = rotation((0, 0, 1), dice.between(0, 6.28)) @ rotation(
            (1, 0, 0), dice.rng.normal(0, 0.25) + dice.pick((0.0, np.pi))
        )
        shift = dice.rng.normal(0, size * 0.28 * np.sqrt(count - 1), 2)
        for part in leaf_part(dice, kind, size * dice.between(0.7, 1.1), tone):
            laid = part.mesh.turned(turn)
            parts.append(
                Part(laid.moved((*shift, dice.between(0.002, 0.004 * count))), part.material)
            )
    return Item(FORM, parts, ("stands",), "leaves")


def bark(dice: Dice) -> Material:
    """Surface of twigs and bark."""
    colour = dice.pick(
        (dice.colour((0.04, 0.1), (0.2, 0.55), (0.18, 0.5)), dice.grey(0.3, 0.6, 0.03))
    )
    return Material(
        (1, 1, 1),
        patchy(dice, colour, colour * 1.6, slope=0.7),
        roughness=0.95,
        gloss=0.2,
        relief="fibre",
        bump=0.5,
        grain=18,
        mottle=0.4,
    )


def _branch(
    dice: Dice,
    start: np.ndarray,
    heading: float,
    long: float,
    thick: float,
    depth: int,
    out: list[Mesh],
    tips: list[np.ndarray],
) -> None:
    t = np.linspace(0, 1, 16)
    bend = dice.rng.normal(0, 0.35)
    turn = heading + bend * t
    step = long / 15
    x = start[0] + np.cumsum(np.cos(turn)) * step
    y = start[1] + np.cumsum(np.sin(turn)) * step
    z = (
        start[2]
        + dice.rng.normal(0, 0.12) * long * t
        + 0.1 * long * np.sin(np.pi * t) * dice.rng.normal()
    )
    path = np.stack([x, y, np.abs(z) + thick], 1)
    out.append(tube(path, thick * (1 - 0.55 * t), sides=9))
    tips.append(path[-1])
    if depth:
        for _ in range(dice.whole(1, 3)):
            at = dice.whole(4, 14)
            _branch(
                dice,
                path[at],
                turn[at] + dice.pick((-1, 1)) * dice.between(0.4, 1.0),
                long * dice.between(0.35, 0.7),
                thick * 0.6,
                depth - 1,
                out,
                tips,
            )


def twigs(dice: Dice) -> Item:
    """One twig, forked or straight, or a bundle of prunings, with leaves or needles at times."""
    parts, count = [], dice.pick((1, 3, 8), (4, 2, 2))
    look = bark(dice)
    size = dice.between(0.1, 0.35)
    along = dice.between(0, 6.28)
    for _ in range(count):
        wood: list[Mesh] = []
        tips: list[np.ndarray] = []
        heading = along + dice.rng.normal(0, 0.4)
        start = np.array([*dice.rng.normal(0, 0.02 * count, 2), dice.between(0, 0.01 * count)])
        _branch(
            dice,
            start,
            heading,
            size * dice.between(0.6, 1),
            size * dice.between(0.008, 0.03),
            dice.whole(0, 2),
            wood,
            tips,
        )
        parts.append(Part(merge(wood), look))
        kind = dice.pick(("bare", "leaves", "needles"), (4, 4, 2))
        if kind == "needles":
            parts.append(
                Part(
                    _needles(merge(wood), dice),
                    Material(dice.colour((0.22, 0.4), (0.3, 0.7), (0.15, 0.5)), roughness=0.6),
                )
            )
        elif kind == "leaves":
            colour = _leaf_colour(dice)
            for tip in tips[:8]:
                turn = rotation((0, 0, 1), dice.between(0, 6.28)) @ rotation(
                    (0, 1, 0), dice.rng.normal(0, 0.5)
                )
                for part in leaf_part(dice, "oval", size * dice.between(0.12, 0.28), colour):
                    parts.append(Part(part.mesh.turned(turn).moved(tip), part.material))
    return Item(FORM, parts, ("stands", "settles"), "twigs", (3, 1))


def _needles(wood: Mesh, dice: Dice) -> Mesh:
    normals = wood.normals()
    picked = dice.rng.choice(len(wood.v), min(500, len(wood.v)), replace=False)
    base, out = wood.v[picked], normals[picked]
    lean = out + dice.rng.normal(0, 0.5, out.shape)
    lean /= np.linalg.norm(lean, axis=1, keepdims=True)
    side = np.cross(lean, [0.3, 0.2, 0.9])
    side *= 0.0007 / np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-6)
    tip = base + lean * dice.rng.uniform(0.008, 0.018, (len(base), 1))
    v = np.concatenate([base - side, base + side, tip]).astype(np.float32)
    n = len(base)
    f = np.stack([np.arange(n), np.arange(n) + n, np.arange(n) + 2 * n], 1)
    return Mesh(v, np.zeros((3 * n, 2), np.float32), f)


def grass_heap(dice: Dice) -> Item:
    """Cut grass or straw in a heap or a tuft."""
    hue = dice.pick(((0.18, 0.32), (0.1, 0.16)), (3, 1))
    tones = [dice.colour(hue, (0.3, 0.8), (0.25, 0.75)) for _ in range(16)]
    texture = np.broadcast_to((np.stack(tones) * 255).astype(np.uint8)[None], (8, 16, 3)).copy()
    made = blades(
        dice, dice.whole(150, 700), dice.between(0.015, 0.05), (0.03, 0.1), dice.between(0.1, 0.8)
    )
    return Item(
        FORM,
        [Part(made, Material((1, 1, 1), texture, roughness=0.6, gloss=0.6, through=0.2))],
        ("stands",),
        "grass",
    )


def flower(dice: Dice) -> Item:
    """Cut or wilted flowers with stalk and leaves."""
    parts = []
    green = dice.colour((0.22, 0.34), (0.4, 0.8), (0.25, 0.6))
    petal_colour = dice.pick(
        (
            dice.colour((0.85, 1.05), (0.4, 0.95), (0.5, 0.95)),
            dice.colour((0.1, 0.16), (0.6, 1), (0.8, 1)),
            dice.grey(0.88, 0.98),
            dice.colour((0.7, 0.85), (0.3, 0.8), (0.4, 0.9)),
        )
    )
    for _ in range(dice.pick((1, 1, 3, 5))):
        long = dice.between(0.08, 0.28)
        t = np.linspace(0, 1, 20)
        path = np.stack([long * t, 0.03 * dice.rng.normal() * t**2, 0.012 + 0.02 * t], 1)
        bits = [Part(tube(path, 0.0017, sides=8), Material(green, roughness=0.6))]
        for part in leaf_part(dice, "oval", long * 0.3, green):
            bits.append(Part(part.mesh.moved(path[8]), part.material))
        bits += [Part(p.mesh.moved(path[-1]), p.material) for p in _bloom(dice, petal_colour)]
        turn = rotation((0, 0, 1), dice.rng.normal(0, 0.4))
        parts += [Part(p.mesh.turned(turn), p.material) for p in bits]
    return Item(FORM, parts, ("stands",), "flower")


def _bloom(dice: Dice, colour: np.ndarray) -> list[Part]:
    radius, rings = dice.between(0.015, 0.04), dice.whole(1, 5)
    petals = []
    wide = dice.between(0.25, 0.5)
    for ring in range(rings):
        count = dice.whole(5, 14)
        tilt = 0.25 + 1.0 * ring / rings * dice.between(0.7, 1.2)
        for i in range(count):
            v, u = np.mgrid[0:1:8j, -1:1:5j]
            shape = wide * np.sin(np.pi * (0.1 + 0.85 * v)) ** 0.6
            reach = radius * (1 - 0.13 * ring)
            x, y, z = reach * v, reach * shape * u, reach * (0.15 * u**2 + 0.25 * v**2)
            made = grid(np.stack([x, y, z], 2)).turned(rotation((0, 1, 0), -tilt))
            petals.append(made.turned(rotation((0, 0, 1), 2 * np.pi * (i + 0.5 * ring) / count)))
    lean = rotation((0, 1, 0), dice.between(0.3, 1.5))
    look = Material(
        (1, 1, 1), patchy(dice, colour, colour * 0.75), roughness=0.6, gloss=0.4, through=0.35
    )
    centre = ball(radius * 0.25, 3).scaled((1, 1, 0.6))
    heart = Material(
        dice.colour((0.08, 0.16), (0.6, 0.95), (0.4, 0.9)),
        roughness=0.9,
        bump=0.5,
        grain=60,
        mottle=0.4,
    )
    return [Part(merge(petals).turned(lean), look), Part(centre.turned(lean), heart)]


def cone(dice: Dice) -> Item:
    """Cone of a pine or spruce: scales in spirals."""
    high, radius = dice.between(0.035, 0.09), dice.between(0.013, 0.022)
    scale = ball(1.0, 2)
    bits = []
    count = 90
    for i in range(count):
        t = (i + 0.5) / count
        r = radius * np.sin(np.pi * (0.12 + 0.8 * t)) ** 0.7
        size = radius * 0.45 * (0.5 + np.sin(np.pi * t))
        leaf = scale.scaled((size, size * 0.75, size * 0.22)).turned(rotation((0, 1, 0), -0.5))
        leaf = leaf.moved((r * 0.75, 0, t * high)).turned(rotation((0, 0, 1), i * 2.39996))
        bits.append(leaf)
    brown = dice.colour((0.04, 0.09), (0.35, 0.65), (0.2, 0.45))
    return Item(
        FORM,
        [Part(merge(bits), Material(brown, roughness=0.85, mottle=0.4, bump=0.3, grain=30))],
        ("lies", "settles"),
        "cone",
    )


def soil_clod(dice: Dice) -> Item:
    """Root ball or clod with roots and blades."""
    size = dice.between(0.03, 0.08)
    body = rippled(
        ball(1, 5).scaled((size, size * dice.between(0.7, 1), size * dice.between(0.5, 0.9))),
        dice,
        size * 0.25,
        28,
    )
    earth = dice.colour((0.05, 0.1), (0.3, 0.6), (0.12, 0.35))
    parts = [
        Part(
            body,
            Material(
                (1, 1, 1),
                patchy(dice, earth, earth * 1.7, slope=0.6),
                roughness=1,
                gloss=0.1,
                bump=0.9,
                grain=14,
                mottle=0.5,
            ),
        )
    ]
    shoots = blades(dice, dice.whole(20, 120), size * 0.5, (0.03, 0.09), 0.9)
    shade = smooth_noise(shoots.v, dice.rng, frequency=40, octaves=1) * 0.0
    parts.append(
        Part(
            shoots.moved(np.stack([shade, shade, shade + size * 0.6], 1)),
            Material(dice.colour((0.12, 0.32), (0.3, 0.8), (0.25, 0.7)), roughness=0.7),
        )
    )
    return Item(FORM, parts, ("stands",), "clod")


def weeds(dice: Dice) -> Item:
    """Pulled weeds and prunings: blades, leaves and stalks in one heap."""
    hue = (0.18, 0.34)
    tones = [dice.colour(hue, (0.3, 0.8), (0.2, 0.65)) for _ in range(16)]
    texture = np.broadcast_to((np.stack(tones) * 255).astype(np.uint8)[None], (8, 16, 3)).copy()
    spread = dice.between(0.03, 0.06)
    parts = [
        Part(
            blades(dice, dice.whole(80, 300), spread, (0.04, 0.12), 0.7),
            Material((1, 1, 1), texture, roughness=0.6, through=0.2),
        )
    ]
    kind, colour = dice.pick(("oval", "long", "oak")), dice.colour(hue, (0.4, 0.8), (0.25, 0.6))
    for _ in range(dice.whole(4, 14)):
        turn = rotation(dice.rng.normal(size=3), dice.rng.normal(0, 0.6)) @ rotation(
            (0, 0, 1), dice.between(0, 6.28)
        )
        shift = (*dice.rng.normal(0, spread, 2), dice.between(0.004, 0.03))
        for part in leaf_part(
            dice, kind, dice.between(0.03, 0.07), np.clip(colour * dice.between(0.7, 1.3), 0, 1)
        ):
            parts.append(Part(part.mesh.turned(turn).moved(shift), part.material))
    return Item(FORM, parts, ("stands",), "weeds")


MAKERS = {
    "leaves": (leaves, 3.0),
    "twigs": (twigs, 2.0),
    "grass_heap": (grass_heap, 1.5),
    "flower": (flower, 2.0),
    "cone": (cone, 0.7),
    "soil_clod": (soil_clod, 0.5),
    "weeds": (weeds, 1.5),
}
