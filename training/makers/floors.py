"""Floors, tables and cloths that items lie on: repeating textures with gloss and fine relief."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from training.makers.dice import Dice
from training.makers.material import Material
from training.makers.noise import tile_noise

SIZE = 512  # px of a texture


@dataclass(frozen=True, slots=True)
class Floor:
    """A texture, uint8 (SIZE, SIZE, 3), that repeats every `tile` metres, and its surface."""

    kind: str
    texture: np.ndarray
    tile: float
    material: Material


def draw_floor(dice: Dice, kind: str | None = None) -> Floor:
    """Draw a floor; held-out pictures lie on kinds of their own."""
    kind = kind or dice.apart(_WEIGHTS)
    picture, tile, look = FLOORS[kind](dice)
    texture = (np.clip(picture, 0, 1) * 255).astype(np.uint8)
    values = {"colour": (1.0, 1.0, 1.0), "roughness": 0.6, "gloss": 0.6, **look}
    return Floor(kind, texture, tile, Material(texture=texture, **values))


def _noisy(dice: Dice, colour: np.ndarray, amount: float, slope: float = 1.0) -> np.ndarray:
    noise = tile_noise(SIZE, dice.rng, slope=slope)[..., None] * amount
    return colour * (1 + noise)


def _plain_colour(dice: Dice) -> np.ndarray:
    kind = dice.pick(("grey", "beige", "colour"), (6, 4, 1.5))
    if kind == "grey":
        return dice.grey(0.2, 0.95, 0.03)
    if kind == "beige":
        return dice.colour((0.04, 0.13), (0.08, 0.4), (0.35, 0.9))
    return dice.colour((0, 1), (0.1, 0.5), (0.25, 0.9))


def _plain(dice: Dice) -> tuple:
    picture = _noisy(dice, _plain_colour(dice), dice.between(0.0, 0.05), dice.between(0.4, 1.6))
    rough = dice.between(0.25, 0.9)
    return picture, dice.between(0.3, 1.2), {"roughness": rough, "bump": dice.between(0, 0.06)}


def _board(dice: Dice) -> tuple:
    picture = _noisy(dice, dice.grey(0.82, 0.97, 0.03), dice.between(0, 0.02))
    return picture, 1.0, {"roughness": dice.between(0.3, 0.6), "gloss": 1.0}


def wood_grain(dice: Dice, size: int = SIZE, *, rings: float = 12.0) -> np.ndarray:
    """Grain along the rows, (size, size), about 0 to 1; repeats."""
    warp = tile_noise(size, dice.rng, slope=1.8, stretch=8) * dice.between(0.3, 1.2)
    row = np.arange(size)[:, None] / size
    broad = 0.5 + 0.5 * np.sin(2 * np.pi * (row * round(rings) + warp))
    fine = tile_noise(size, dice.rng, slope=0.6, stretch=30)
    return np.clip(0.55 * broad + 0.5 + 0.16 * fine - 0.25, 0, 1)


def wood_colours(dice: Dice) -> tuple[np.ndarray, np.ndarray]:
    """Dark and light colour of one kind of wood."""
    dark = dice.colour((0.05, 0.1), (0.2, 0.6), (0.2, 0.6))
    if dice.chance(0.15):
        dark = dice.grey(0.3, 0.55, 0.03)
    return dark, np.clip(dark * dice.between(1.25, 1.8), 0, 0.95)


def _planks(dice: Dice) -> tuple:
    dark, bright = wood_colours(dice)
    count = dice.pick((3, 4, 6, 8))
    wide = SIZE // count
    picture = np.zeros((SIZE, SIZE, 3), np.float32)
    grain = [wood_grain(dice, rings=dice.between(6, 20)) for _ in range(2)]
    gap = dice.between(0.2, 0.8)
    for i in range(count):
        part = np.roll(grain[i % 2], dice.whole(0, SIZE), axis=dice.whole(0, 1))[:wide, :, None]
        plank = (dark + (bright - dark) * part) * dice.between(0.8, 1.1)
        rows = slice(i * wide, (i + 1) * wide)
        picture[rows] = plank
        picture[i * wide] *= gap
        picture[rows, dice.whole(0, SIZE - 1)] *= gap
    return (
        picture,
        dice.between(0.4, 0.9),
        {
            "roughness": dice.between(0.25, 0.7),
            "gloss": dice.between(0.4, 1.0),
            "bump": dice.between(0, 0.05),
        },
    )


def _table(dice: Dice) -> tuple:
    dark, bright = wood_colours(dice)
    picture = dark + (bright - dark) * wood_grain(dice, rings=dice.between(5, 25))[..., None]
    return picture, dice.between(0.4, 1.2), {"roughness": dice.between(0.2, 0.7)}


def _tiles(dice: Dice) -> tuple:
    count = dice.pick((1, 2, 2, 4))
    joint = dice.whole(2, 7)
    colour, grout = _plain_colour(dice), dice.grey(0.25, 0.8, 0.03)
    picture = _noisy(dice, colour, dice.between(0.01, 0.1), dice.between(0.9, 1.6))
    cell = SIZE // count
    for i in range(count):
        for j in range(count):
            picture[i * cell : (i + 1) * cell, j * cell : (j + 1) * cell] *= dice.between(
                0.94, 1.04
            )
    for i in range(count):
        picture[i * cell : i * cell + joint] = grout
        picture[:, i * cell : i * cell + joint] = grout
    side = dice.pick((0.1, 0.2, 0.3, 0.33, 0.45))
    return picture, side * count, {"roughness": dice.between(0.1, 0.55), "gloss": 1.0}


def _mosaic(dice: Dice) -> tuple:
    y, x = np.mgrid[:SIZE, :SIZE]
    points = dice.rng.uniform(0, SIZE, (dice.whole(60, 500), 2))
    distance, index = cKDTree(points, boxsize=SIZE).query(np.stack([x.ravel(), y.ravel()], 1), 2)
    shade = dice.rng.uniform(0.6, 1.1, len(points))[index[:, 0]]
    picture = (shade[:, None] * _plain_colour(dice)).reshape(SIZE, SIZE, 3)
    edge = (distance[:, 1] - distance[:, 0]).reshape(SIZE, SIZE)
    picture[edge < dice.between(1, 4)] = dice.grey(0.2, 0.8)
    return picture, dice.between(0.25, 1.0), {"roughness": dice.between(0.3, 0.9)}


def _terrazzo(dice: Dice) -> tuple:
    picture = _noisy(dice, dice.grey(0.45, 0.9, 0.05), 0.03)
    for size in (6, 3, 1.5):
        spots = gaussian_filter(dice.rng.normal(size=(SIZE, SIZE)), size, mode="wrap")
        limit = np.quantile(spots, dice.between(0.88, 0.98))
        picture[spots > limit] = dice.pick((dice.grey(0.1, 0.5), dice.colour(strength=(0.1, 0.5))))
    return picture, dice.between(0.2, 0.6), {"roughness": dice.between(0.12, 0.5), "gloss": 1.0}


def _cloth(dice: Dice) -> tuple:
    picture = _noisy(dice, _plain_colour(dice), 0.04, 0.6)
    return (
        picture,
        0.6,
        {
            "roughness": 0.95,
            "gloss": 0.2,
            "relief": "weave",
            "bump": dice.between(0.1, 0.35),
            "grain": dice.between(6, 40),
            "mottle": dice.between(0.1, 0.5),
        },
    )


def _checked(dice: Dice) -> tuple:
    base, other = dice.grey(0.7, 0.95), dice.colour(strength=(0.2, 0.9), value=(0.2, 0.8))
    count, share = dice.whole(2, 12), dice.between(0.15, 0.6)
    stripe = ((np.arange(SIZE) * count / SIZE) % 1 < share).astype(np.float32)
    cover = stripe[:, None, None] * 0.5
    if dice.chance(0.6):
        cover = cover + stripe[None, :, None] * 0.5
    picture = (base + (other - base) * cover) * _noisy(dice, np.ones(3), 0.03, 0.5)
    return (
        picture,
        dice.between(0.15, 0.8),
        {
            "roughness": 0.9,
            "gloss": 0.3,
            "relief": "weave",
            "bump": dice.between(0, 0.2),
            "grain": dice.between(10, 40),
        },
    )


def _carpet(dice: Dice) -> tuple:
    picture = _noisy(
        dice, _plain_colour(dice) * 0.9, dice.between(0.12, 0.35), dice.between(0, 0.6)
    )
    return (
        picture,
        dice.between(0.25, 0.7),
        {
            "roughness": 1.0,
            "gloss": 0.05,
            "bump": dice.between(0.4, 1.0),
            "grain": dice.between(8, 25),
            "mottle": dice.between(0.3, 0.9),
        },
    )


def _concrete(dice: Dice) -> tuple:
    picture = _noisy(
        dice, dice.grey(0.3, 0.75, 0.03), dice.between(0.05, 0.16), dice.between(0.8, 1.4)
    )
    dirt = tile_noise(SIZE, dice.rng, slope=2.0)[..., None]
    picture = picture * (1 - 0.12 * np.clip(dirt, 0, 2))
    specks = dice.rng.uniform(size=(SIZE, SIZE)) < dice.between(0, 0.01)
    picture[specks] *= dice.between(0.3, 0.7)
    return (
        picture,
        dice.between(0.4, 1.5),
        {
            "roughness": dice.between(0.6, 1),
            "gloss": 0.4,
            "bump": dice.between(0.05, 0.4),
            "grain": dice.between(3, 14),
        },
    )


def _asphalt(dice: Dice) -> tuple:
    tone = tile_noise(SIZE, dice.rng, slope=0.1)
    picture = dice.grey(0.22, 0.45, 0.02) * (1 + 0.35 * tone[..., None])
    return (
        picture,
        dice.between(0.2, 0.5),
        {
            "roughness": 0.9,
            "gloss": 0.4,
            "bump": dice.between(0.4, 0.9),
            "grain": dice.between(8, 18),
            "mottle": 0.4,
        },
    )


def _strokes(
    dice: Dice,
    picture: np.ndarray,
    count: int,
    length: tuple[float, float],
    hue: tuple,
    value: tuple,
) -> np.ndarray:
    image = Image.fromarray((np.clip(picture, 0, 1) * 255).astype(np.uint8))
    draw = ImageDraw.Draw(image)
    for i in range(count):
        colour = dice.colour(hue, (0.2, 0.6), value) * (0.35 + 0.65 * i / count)
        x, y, turn = dice.between(0, SIZE), dice.between(0, SIZE), dice.between(0, 2 * np.pi)
        reach = dice.between(*length)
        bend = turn + dice.between(-0.5, 0.5)
        line = [(x, y), (x + reach * np.cos(turn), y + reach * np.sin(turn))]
        line.append((line[1][0] + reach * np.cos(bend), line[1][1] + reach * np.sin(bend)))
        for dx in (-SIZE, 0, SIZE):
            moved = [(px + dx, py) for px, py in line]
            if any(-2 <= px <= SIZE + 2 for px, _ in moved):
                draw.line(moved, tuple(int(255 * c) for c in colour), dice.whole(1, 4))
    return np.asarray(image, np.float32) / 255


def _grass(dice: Dice) -> tuple:
    soil = _noisy(dice, dice.colour((0.06, 0.12), (0.3, 0.6), (0.12, 0.3)), 0.2)
    hue = dice.between(0.15, 0.27)
    picture = _strokes(dice, soil, 1600, (12, 40), (hue, hue + 0.07), (0.15, 0.55))
    return (
        picture,
        dice.between(0.25, 0.6),
        {"roughness": 0.9, "gloss": 0.3, "bump": 0.6, "grain": 8},
    )


def _soil(dice: Dice) -> tuple:
    picture = _noisy(
        dice, dice.colour((0.03, 0.12), (0.15, 0.5), (0.2, 0.55)), 0.25, dice.between(0.3, 0.9)
    )
    if dice.chance(0.5):
        picture = _strokes(dice, picture, 250, (6, 30), (0.05, 0.14), (0.15, 0.5))
    return (
        picture,
        dice.between(0.25, 0.8),
        {
            "roughness": 1.0,
            "gloss": 0.1,
            "bump": dice.between(0.5, 1),
            "grain": dice.between(5, 14),
            "mottle": 0.5,
        },
    )


def _gravel(dice: Dice) -> tuple:
    y, x = np.mgrid[:SIZE, :SIZE]
    points = dice.rng.uniform(0, SIZE, (dice.whole(500, 2500), 2))
    distance, index = cKDTree(points, boxsize=SIZE).query(np.stack([x.ravel(), y.ravel()], 1), 2)
    shade = dice.rng.uniform(0.7, 1.2, len(points))[index[:, 0]]
    edge = np.clip((distance[:, 1] - distance[:, 0]) / 5, 0.45, 1)
    picture = (shade * edge).reshape(SIZE, SIZE, 1) * dice.grey(0.4, 0.7, 0.06)
    return (
        picture,
        dice.between(0.2, 0.6),
        {"roughness": 0.9, "gloss": 0.4, "bump": 0.5, "grain": 6},
    )


def _marble(dice: Dice) -> tuple:
    field = tile_noise(SIZE, dice.rng, slope=1.7)
    veins = np.exp(-np.abs(field) * dice.between(4, 14))[..., None]
    base = dice.grey(0.15, 0.25) if dice.chance(0.3) else dice.grey(0.75, 0.95, 0.04)
    other = dice.grey(0.4, 0.65, 0.05)
    picture = base + (other - base) * veins * dice.between(0.3, 0.8)
    return picture, dice.between(0.5, 1.5), {"roughness": dice.between(0.05, 0.3), "gloss": 1.0}


def _paving(dice: Dice) -> tuple:
    rows, columns = dice.pick(((4, 2), (6, 3), (8, 4)))
    colour = dice.pick((dice.grey(0.4, 0.7), dice.colour((0.01, 0.06), (0.3, 0.6), (0.35, 0.65))))
    picture = _noisy(dice, np.broadcast_to(colour, (SIZE, SIZE, 3)), dice.between(0.08, 0.2), 0.7)
    tall, wide, joint = SIZE / rows, SIZE / columns, dice.whole(2, 7)
    grout = dice.grey(0.2, 0.5)
    for i in range(rows):
        top, shift = int(i * tall), int((i % 2) * wide / 2)
        for j in range(columns):
            left = (int(j * wide) + shift) % SIZE
            picture[top : top + int(tall), left : left + int(wide)] *= dice.between(0.8, 1.15)
            picture[top : top + int(tall), left : left + joint] = grout
        picture[top : top + joint] = grout
    return (
        picture,
        dice.between(0.3, 0.7),
        {"roughness": 0.95, "gloss": 0.2, "bump": 0.3, "grain": 8},
    )


def _steel(dice: Dice) -> tuple:
    picture = _noisy(dice, dice.grey(0.55, 0.75, 0.02), 0.02)
    return (
        picture,
        0.6,
        {
            "roughness": dice.between(0.25, 0.5),
            "metal": 0.85,
            "relief": "brushed",
            "bump": dice.between(0.02, 0.1),
            "grain": 4,
        },
    )


def _cardboard(dice: Dice) -> tuple:
    picture = _noisy(dice, dice.colour((0.07, 0.1), (0.25, 0.45), (0.55, 0.75)), 0.05, 0.6)
    lines = 0.03 * np.sin(np.arange(SIZE) * 2 * np.pi * dice.whole(20, 60) / SIZE)
    return picture * (1 + lines[:, None, None]), 0.4, {"roughness": 0.9, "gloss": 0.3}


def _stripes(dice: Dice) -> tuple:
    picture = np.zeros((SIZE, SIZE, 3), np.float32)
    row = 0
    colours = [dice.colour(strength=(0.1, 0.7)) for _ in range(dice.whole(2, 4))]
    while row < SIZE:
        tall = dice.whole(6, 70)
        picture[row : row + tall] = dice.pick(colours)
        row += tall
    return (
        _noisy(dice, picture, 0.06, 0.4),
        dice.between(0.2, 0.7),
        {
            "roughness": 0.95,
            "gloss": 0.2,
            "relief": "weave",
            "bump": dice.between(0.1, 0.4),
            "grain": dice.between(6, 25),
        },
    )


FLOORS: dict[str, Callable[[Dice], tuple]] = {
    "plain": _plain,
    "planks": _planks,
    "tiles": _tiles,
    "marble": _marble,
    "table": _table,
    "cloth": _cloth,
    "concrete": _concrete,
    "paving": _paving,
    "carpet": _carpet,
    "board": _board,
    "grass": _grass,
    "steel": _steel,
    "terrazzo": _terrazzo,
    "asphalt": _asphalt,
    "cardboard": _cardboard,
    "mosaic": _mosaic,
    "soil": _soil,
    "gravel": _gravel,
    "stripes": _stripes,
    "checked": _checked,
}  # every fourth kind is kept for held-out pictures

_OFTEN = {"plain": 4, "planks": 3, "tiles": 4, "table": 4, "cloth": 2, "board": 3, "concrete": 3}
_WEIGHTS = {kind: _OFTEN.get(kind, 1.0) for kind in FLOORS}
