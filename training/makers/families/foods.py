"""Food scraps: peel, cores, bread, bones, tea bags, grounds, shells, leftovers."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, paper
from training.makers.mesh import Mesh, ball, grid, merge, rotation, sheet, tube, turned
from training.makers.noise import smooth_noise, tile_noise
from training.makers.outlines import blob, cut, polygon_mask, relief
from training.makers.prints import print_label
from training.makers.warps import crumpled_sheet, rippled

FORM = "food"


def patchy(
    dice: Dice,
    base: np.ndarray,
    other: np.ndarray,
    *,
    slope: float = 1.6,
    share: float = 0.5,
    size: int = 128,
) -> np.ndarray:
    """Texture that runs from one colour to another in patches, uint8."""
    field = tile_noise(size, dice.rng, slope=slope)
    cover = np.clip((field + 2 * (share - 0.5)) * 0.8 + 0.5, 0, 1)[..., None]
    mixed = base + (other - base) * cover + 0.03 * tile_noise(size, dice.rng, slope=0.4)[..., None]
    return (np.clip(mixed, 0, 1) * 255).astype(np.uint8)


def flesh(texture: np.ndarray, rough: float = 0.5, **other: Any) -> Material:
    """Moist surface with fine relief."""
    look = Material(
        (1, 1, 1), texture, roughness=rough, gloss=0.8, bump=0.12, grain=30, through=0.08
    )
    return replace(look, **other)


def brown(dice: Dice) -> np.ndarray:
    """Draw the brown of crusts, rot and stalks."""
    return dice.colour((0.04, 0.09), (0.4, 0.8), (0.15, 0.45))


def bread(dice: Dice) -> Item:
    """Slice, heel or roll of bread, at times bitten, dry or mouldy."""
    crumb, crust = (
        dice.colour((0.09, 0.13), (0.15, 0.4), (0.7, 0.92)),
        dice.colour((0.05, 0.08), (0.5, 0.75), (0.35, 0.65)),
    )
    if dice.chance(0.65):
        outline = blob(dice.rng, rough=0.05, low=2)
        outline = np.sign(outline) * np.abs(outline) ** dice.between(0.65, 0.95)
        if dice.chance(0.45):
            outline = _bitten(outline, dice)
        mask = polygon_mask(outline)
        size, thick = dice.between(0.07, 0.13), dice.between(0.009, 0.02)
        made = relief(mask, size, size * dice.between(0.75, 1.1), thick, edge=0.12)
        n = 160
        inner = polygon_mask(outline * 0.9, n)[..., None] / 255.0
        holes = np.clip(tile_noise(n, dice.rng, slope=0.7) - 1.0, 0, 1)[..., None]
        face = crust + (crumb * (1 - 0.35 * holes) - crust) * inner
        if dice.chance(0.3):
            toast = np.clip(tile_noise(n, dice.rng, slope=1.8) * 0.5 + 0.4, 0, 1)[..., None] * inner
            face = face + (crust - face) * toast * 0.8
        if dice.chance(0.15):
            mould = np.clip((tile_noise(n, dice.rng, slope=1.7)[..., None] - 0.9) * 3, 0, 1)
            face = face + (np.array([0.45, 0.55, 0.45]) - face) * mould
        texture = cut((np.clip(face, 0, 1) * 255).astype(np.uint8), mask)
        look = Material(
            (1, 1, 1), texture, roughness=0.95, gloss=0.15, bump=0.5, grain=18, mottle=0.2
        )
        return Item(FORM, [Part(made, look)], ("stands",), "bread")
    size = dice.between(0.03, 0.07)
    body = ball(1.0, 4).scaled((size * dice.between(1, 2.6), size, size * dice.between(0.5, 0.8)))
    body = rippled(body, dice, size * 0.1, 14)
    texture = patchy(dice, crust, crust * 1.5, share=0.4)
    return Item(
        FORM,
        [
            Part(
                body,
                Material(
                    (1, 1, 1), texture, roughness=0.7, gloss=0.4, bump=0.35, grain=12, mottle=0.3
                ),
            )
        ],
        detail="roll",
    )


def _bitten(outline: np.ndarray, dice: Dice) -> np.ndarray:
    for _ in range(dice.whole(1, 4)):
        at = outline[dice.whole(0, len(outline) - 1)] * 1.05
        gap = outline - at
        reach = np.linalg.norm(gap, axis=1)
        radius = dice.between(0.25, 0.5)
        near = reach < radius
        outline = np.where(
            near[:, None], at + gap / np.maximum(reach, 1e-3)[:, None] * -radius * 0.9, outline
        )
        outline = np.where(np.abs(outline) > 1, np.sign(outline), outline)
    return outline


def bones(dice: Dice) -> Item:
    """Gnawed bones of poultry or ribs, one to five."""
    pale = dice.colour((0.07, 0.12), (0.12, 0.4), (0.6, 0.9))
    look = flesh(patchy(dice, pale, brown(dice) * 1.3, share=dice.between(0.15, 0.5)), 0.5)
    parts = []
    for _ in range(dice.pick((1, 2, 3, 5), (4, 2, 2, 1))):
        long, thick = dice.between(0.05, 0.12), dice.between(0.003, 0.006)
        t = np.linspace(0, 1, 50)
        ends = np.exp(-((t / 0.12) ** 2)) + np.exp(-(((1 - t) / 0.1) ** 2))
        radius = thick * (1 + 1.3 * ends) + 0.0004 * np.sin(t * 40)
        path = np.stack(
            [
                long * (t - 0.5),
                0.012 * dice.rng.normal() * np.sin(np.pi * t),
                0.01 * dice.rng.normal() * np.sin(np.pi * t),
            ],
            1,
        )
        made = [tube(path, radius, flat=dice.between(0.7, 1))]
        for end in (0, -1):
            for side in (-1, 1):
                knob = ball(thick * dice.between(1.3, 1.9), 3)
                made.append(knob.moved(path[end] + [0, side * thick * 1.1, 0]))
        whole = rippled(merge(made), dice, 0.0012, 120)
        whole = whole.turned(rotation((0, 0, 1), dice.between(0, 6.28)))
        whole = whole.moved(
            (*dice.rng.normal(0, 0.02, 2), -whole.v[:, 2].min() + dice.between(0, 0.006))
        )
        parts.append(Part(whole, look))
        if dice.chance(0.4):
            meat = rippled(
                ball(1, 4).scaled((dice.between(0.01, 0.022), 0.009, 0.008)), dice, 0.004, 70
            )
            parts.append(
                Part(
                    meat.moved(path[-1] * dice.between(0.2, 0.8)).moved((0, 0, 0.006)),
                    flesh(patchy(dice, brown(dice), brown(dice) * 1.6), 0.35),
                )
            )
    return Item(FORM, parts, ("stands",), "bones")


def tea_bag(dice: Dice) -> Item:
    """Used tea bag with or without string and tag."""
    tan = dice.colour((0.06, 0.1), (0.35, 0.75), (0.3, 0.75))
    wet = patchy(dice, tan, tan * 0.55, share=dice.between(0.3, 0.7))
    size = dice.between(0.045, 0.065)
    y, x = np.mgrid[-1:1:48j, -1:1:48j]
    if dice.chance(0.35):
        inside = np.clip(1 - np.hypot(x, y) ** 4, 0, 1)
    else:
        inside = np.clip(1 - x**6, 0, 1) * np.clip(1 - y**6, 0, 1)
    lumps = 1 + 0.5 * smooth_noise(
        np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], 1), dice.rng, frequency=2.5, octaves=3
    ).reshape(x.shape)
    puff = dice.between(0.004, 0.01)
    top = grid(
        np.stack(
            [
                x * size / 2,
                y * size / 2 * dice.between(0.8, 1.2),
                0.001 + puff * np.sqrt(inside) * lumps,
            ],
            2,
        )
    )
    if dice.chance(0.35):
        round_ = np.hypot(x, y).ravel() < 1.0
        top = Mesh(top.v, top.uv, top.f[round_[top.f].all(1)])
    look = Material(
        (1, 1, 1),
        wet,
        roughness=dice.between(0.35, 0.8),
        gloss=0.7,
        relief="weave",
        bump=0.1,
        grain=40,
        through=0.1,
    )
    parts = [Part(top, look)]
    if dice.chance(0.55):
        t = np.linspace(0, 1, 40)
        path = np.stack(
            [size * 0.45 + 0.07 * t, 0.02 * np.sin(dice.between(3, 9) * t), 0.001 + 0 * t], 1
        )
        parts.append(Part(tube(path, 0.0006, sides=6), paper(dice.grey(0.85, 0.97))))
        tag = sheet(0.022, 0.026, 4, 4).moved((*path[-1, :2] + [0.012, 0], 0.001))
        parts.append(Part(tag, Material((1, 1, 1), print_label(dice), roughness=0.7)))
    return Item(FORM, parts, ("stands",), "tea_bag")


def _heap(dice: Dice, radius: float, high: float, rough: float) -> Mesh:
    """Heap on the floor: a flattened, uneven dome of irregular outline."""
    a = np.linspace(0, 2 * np.pi, 97)
    t = np.linspace(0, 1, 40)[:, None]
    edge = 1 + sum(
        dice.rng.normal() * 0.12 / k * np.cos(k * a + dice.between(0, 6)) for k in range(2, 8)
    )
    x, y = radius * t * edge * np.cos(a), radius * t * edge * np.sin(a)
    dome = high * (1 - t**2) + 0 * a
    points = np.stack([x, y, dome], 2)
    lumps = smooth_noise(
        points.reshape(-1, 3), dice.rng, frequency=1.6 / high if high > 0 else 50, octaves=4
    ).reshape(dome.shape)
    points[..., 2] = np.maximum(dome + rough * high * lumps * np.sqrt(1 - t**2 + 1e-6), 0.0)
    return grid(points[::-1], around=True)


def coffee_grounds(dice: Dice) -> Item:
    """Coffee grounds in a heap, a pressed cake, or in their paper filter."""
    dark = dice.colour((0.03, 0.08), (0.4, 0.8), (0.07, 0.22))
    look = Material(
        (1, 1, 1),
        patchy(dice, dark, dark * 1.6, slope=0.4),
        roughness=0.95,
        gloss=0.4,
        bump=0.8,
        grain=25,
        mottle=0.5,
    )
    if dice.chance(0.35):
        cake = turned([(0, 0), (0.027, 0), (0.028, 0.012), (0, 0.013)])
        return Item(
            FORM,
            [Part(rippled(cake, dice, 0.001, 100), look)],
            ("stands", "settles"),
            "coffee_cake",
        )
    heap = _heap(dice, dice.between(0.025, 0.06), dice.between(0.008, 0.025), 0.5)
    parts = [Part(heap, look)]
    if dice.chance(0.5):
        wide = float(np.ptp(heap.v[:, 0])) * dice.between(1.4, 1.9)
        flat = sheet(wide, wide, 72, 72)
        bowl = 9 * (flat.v[:, 0] ** 2 + flat.v[:, 1] ** 2) * dice.between(0.3, 1)
        made = crumpled_sheet(
            flat.moved(np.stack([0 * bowl, 0 * bowl, bowl], 1)),
            dice,
            dice.between(0.1, 0.4),
            scale=0.06,
        )
        keep = np.linalg.norm(flat.v[:, :2], axis=1) < wide / 2
        made = Mesh(made.v, made.uv, made.f[keep[made.f].all(1)])
        tan = dice.colour((0.07, 0.1), (0.2, 0.5), (0.5, 0.85))
        parts.append(
            Part(
                made, paper((1, 1, 1), texture=patchy(dice, tan, dark * 2, share=0.5), through=0.2)
            )
        )
        parts[0] = Part(heap.moved((0, 0, 0.006)), look)
    return Item(FORM, parts, ("stands",), "coffee_grounds")


def egg_shells(dice: Dice) -> Item:
    """Halves and pieces of egg shell."""
    shell = dice.pick((dice.colour((0.05, 0.08), (0.25, 0.55), (0.65, 0.9)), dice.grey(0.88, 0.97)))
    look = Material(shell, back=dice.grey(0.9, 0.98), roughness=0.6, gloss=0.5, bump=0.05, grain=40)
    parts = []
    for _ in range(dice.pick((1, 2, 3, 5), (2, 4, 2, 1))):
        egg = ball(1.0, 4)
        v = egg.v * np.array([0.021, 0.021, 0.027]) * (1 - 0.12 * egg.v[:, 2:])
        angle = np.arctan2(v[:, 1], v[:, 0])
        jag = (
            sum(
                dice.rng.normal() * np.abs(np.sin(k * angle + dice.between(0, 6)))
                for k in (2, 3, 5, 7)
            )
            * 0.002
        )
        keep = v[:, 2] < dice.between(-0.012, 0.012) + jag
        half = Mesh(v.astype(np.float32), egg.uv, egg.f[keep[egg.f].all(1)])
        half = half.turned(rotation(dice.rng.normal(size=3), dice.between(0, 2.6)))
        used = half.v[np.unique(half.f)]
        half = half.moved((*dice.rng.normal(0, 0.022, 2), -used[:, 2].min()))
        parts.append(Part(half, look))
    return Item(FORM, parts, ("stands",), "egg_shells")


def leftovers(dice: Dice) -> Item:
    """Scraps in a heap: pieces of many colours, rice, pasta, sauce."""
    base = dice.colour((0.02, 0.16), (0.3, 0.85), (0.3, 0.8))
    heap = _heap(dice, dice.between(0.03, 0.07), dice.between(0.006, 0.025), 0.6)
    parts = [
        Part(
            heap,
            flesh(patchy(dice, base, brown(dice) * 1.5, slope=0.9), 0.35, bump=0.5, grain=18),
        )
    ]
    top = heap.v[heap.v[:, 2] > 0.001]
    kind = dice.pick(("pieces", "pasta", "rice", "mixed"))
    colours = [
        dice.colour(
            dice.pick(((0.97, 1.04), (0.06, 0.12), (0.2, 0.36), (0.12, 0.16))),
            (0.4, 0.95),
            (0.35, 0.9),
        )
        for _ in range(4)
    ]
    pale = dice.colour((0.1, 0.14), (0.1, 0.45), (0.75, 0.95))
    bits: dict[int, list[Mesh]] = {}
    for _ in range(dice.whole(15, 60)):
        spot = top[dice.whole(0, len(top) - 1)] * dice.between(0.6, 1.25)
        if kind == "pasta" or (kind == "mixed" and dice.chance(0.3)):
            t = np.linspace(0, 1, 24)
            w = dice.rng.normal(0, 0.012, (3, 3))
            path = (
                (t[:, None] - 0.5) * w[0] * 3
                + np.sin(3 * t)[:, None] * w[1]
                + np.sin(6 * t)[:, None] * w[2] * 0.5
            )
            path[:, 2] = np.abs(path[:, 2]) * 0.3
            bit, key = tube(path, 0.0011, sides=6), 9
        elif kind == "rice":
            bit, key = ball(1, 2).scaled((0.0035, 0.0012, 0.0012)), 9
        else:
            size = dice.between(0.003, 0.011)
            bit = ball(1, 2).scaled(
                (size, size * dice.between(0.4, 1), size * dice.between(0.2, 0.7))
            )
            bit, key = rippled(bit, dice, size * 0.3, 130), dice.whole(0, 3)
        bit = bit.turned(rotation(dice.rng.normal(size=3), dice.between(0, 3)))
        bits.setdefault(key, []).append(bit.moved(spot))
    for key, meshes in bits.items():
        colour = pale if key == 9 else colours[key]
        parts.append(
            Part(
                merge(meshes),
                Material(colour, roughness=0.35, gloss=0.8, mottle=0.3, grain=40, bump=0.1),
            )
        )
    return Item(FORM, parts, ("stands",), "leftovers")


def pizza(dice: Dice) -> Item:
    """Wedge or rest of a flat pie with spots of topping."""
    wedge = dice.between(0.4, 1.2)
    a = np.linspace(-wedge / 2, wedge / 2, 30)
    outline = np.concatenate([[[0.0, 0.0]], np.stack([np.cos(a), np.sin(a)], 1) * 1.7]) - [0.85, 0]
    if dice.chance(0.4):
        outline = outline[outline[:, 0] > -0.5] if dice.chance(0.3) else outline
    mask = polygon_mask(outline * 0.95)
    size = dice.between(0.1, 0.18)
    made = relief(mask, size, size, dice.between(0.006, 0.014), edge=0.2)
    n = 160
    cheese = dice.colour((0.1, 0.14), (0.4, 0.75), (0.75, 0.95))
    face = (
        patchy(dice, cheese, dice.colour((0.0, 0.05), (0.7, 0.95), (0.5, 0.8)), share=0.4, size=n)
        / 255.0
    )
    y, x = np.mgrid[-1 : 1 : n * 1j, -1 : 1 : n * 1j]
    rim = np.clip((np.hypot(x + 0.8, y) - 1.38) * 9, 0, 1)[..., None]
    face = face + (dice.colour((0.06, 0.09), (0.45, 0.7), (0.5, 0.8)) - face) * rim
    for _ in range(dice.whole(0, 7)):
        cx, cy, r = dice.between(-0.6, 0.5), dice.between(-0.4, 0.4), dice.between(0.08, 0.2)
        spot = (np.hypot(x - cx, y - cy) < r)[..., None]
        face = np.where(
            spot, dice.colour(dice.pick(((0, 0.04), (0.2, 0.35))), (0.5, 0.9), (0.3, 0.75)), face
        )
    texture = cut((np.clip(face, 0, 1) * 255).astype(np.uint8), mask)
    return Item(
        FORM,
        [
            Part(
                made,
                Material(
                    (1, 1, 1), texture, roughness=0.4, gloss=0.8, bump=0.35, grain=16, mottle=0.2
                ),
            )
        ],
        ("stands",),
        "pizza",
    )


MAKERS = {
    "bread": (bread, 2.0),
    "bones": (bones, 1.5),
    "tea_bag": (tea_bag, 1.5),
    "coffee_grounds": (coffee_grounds, 1.5),
    "egg_shells": (egg_shells, 1.0),
    "leftovers": (leftovers, 2.0),
    "pizza": (pizza, 1.0),
}
