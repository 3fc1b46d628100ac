"""Plastic film: carrier and bin bags, crisp packets, wrappers, bubble wrap, cling film."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Clear, Item, Material, Part
from training.makers.mesh import Mesh, grid, merge, sheet, tube
from training.makers.noise import creases, smooth_noise
from training.makers.prints import SIZE, print_label, torn
from training.makers.warps import (
    bent,
    crumpled_ball,
    crumpled_sheet,
    crushed_parts,
    lump,
    soft_folds,
)

FORM = "plastic_film"


def _film(dice: Dice, colour: np.ndarray, *, haze: float) -> Material:
    """Thin film: hazy from 0.05 (clear) to 1 (covering), with sharp highlights on its folds."""
    rough = dice.between(0.15, 0.4)
    if haze >= 0.95:
        return Material(colour, roughness=rough, gloss=1.2, through=0.4)
    tint = np.clip(0.9 + 0.1 * colour, 0, 1)
    return Material(
        colour,
        roughness=rough,
        gloss=1.4,
        through=0.4,
        clear=Clear(tint, haze=haze, bend=0.03, rim=0.15, shade=0.15 + 0.5 * haze),
    )


def _bag_colour(dice: Dice) -> np.ndarray:
    return dice.pick(
        (
            dice.grey(0.88, 0.98, 0.02),
            dice.grey(0.03, 0.15, 0.02),
            dice.colour(strength=(0.2, 0.9), value=(0.3, 1)),
        ),
        (5, 2, 3),
    )


def carrier_bag(dice: Dice) -> Item:
    """Thin bag, lying crumpled or flat, with handles at times."""
    colour, haze = _bag_colour(dice), dice.pick((0.35, 0.6, 0.8, 1.0, 1.0))
    look = _film(dice, colour, haze=haze)
    if dice.chance(0.35):
        texture = print_label(dice, ground=colour)
        look = Material((1, 1, 1), texture, roughness=look.roughness, gloss=1.2, through=0.3)
    wide, tall = dice.between(0.14, 0.3), dice.between(0.16, 0.34)
    kind = dice.pick(("heap", "flat", "ball"), (4, 3, 2))
    if kind == "ball":
        made = crumpled_ball(
            dice,
            dice.between(0.04, 0.09),
            loose=dice.between_apart(0, 0.9),
            soft=dice.pick((0.0, 0.02, 0.05)),
        )
        return Item(FORM, [Part(made, look)], ("stands",), "carrier_bag")
    flat = sheet(wide, tall, 84, 84)
    layers = []
    for _ in range(2):
        folded = soft_folds(
            flat, dice, dice.between(0.5, 1.1) if kind == "heap" else dice.between(0.1, 0.45)
        )
        creased = 0.006 * creases(folded.v / 0.05, dice.rng, frequency=1.0, count=8)
        layers.append(folded.along_normals(creased))
    parts = [Part(layers[0], look), Part(layers[1].moved((0, 0, 0.008)), look)]
    if kind == "flat" and dice.chance(0.6):
        parts += [Part(_loop(layer, dice), look) for layer in layers]
    return Item(FORM, parts, ("stands",), "carrier_bag")


def _loop(face: Mesh, dice: Dice) -> Mesh:
    """Handle at the upper edge of one face of a bag."""
    v = face.v
    wide, top = float(np.ptp(v[:, 0])), float(np.quantile(v[:, 1], 0.97))
    turn = np.linspace(0, np.pi, 20)
    x = v[:, 0].mean() + wide * dice.between(0.14, 0.24) * np.cos(turn)
    y = top + wide * dice.between(0.15, 0.4) * np.sin(turn) - 0.01
    z = 0.008 + 0.01 * np.sin(turn * 2 + dice.between(0, 3)) ** 2
    return tube(np.stack([x, y, z], 1), 0.012, flat=0.1, sides=10)


def bin_bag(dice: Dice) -> Item:
    """Filled and tied bag."""
    colour = dice.pick(
        (
            dice.grey(0.02, 0.1),
            dice.grey(0.85, 0.97),
            dice.colour(strength=(0.3, 0.9), value=(0.15, 0.8)),
        )
    )
    made = lump(dice, dice.between(0.08, 0.16), depth=0.22)
    up = made.v[:, 2] / made.v[:, 2].max()
    neck = np.clip((up - 0.55) / 0.45, 0, 1)
    v = made.v * np.stack([1 - 0.85 * neck, 1 - 0.85 * neck, 1 + 0.35 * neck], 1)
    folds = 0.006 * creases(v / 0.06, dice.rng, frequency=1.2, count=8)
    body = Mesh(v.astype(np.float32), made.uv, made.f).along_normals(folds)
    return Item(
        FORM, [Part(body, _film(dice, colour, haze=1.0))], ("stands", "settles"), "bin_bag", (3, 1)
    )


def _pillow(wide: float, tall: float, puff: float, dice: Dice) -> list[Mesh]:
    """Two faces of a sealed packet with flat, crimped ends."""
    y, x = np.mgrid[-1:1:72j, -1:1:56j]
    inside = np.clip(1 - np.abs(x) ** 3, 0, 1) * np.clip(1 - (np.abs(y) / 0.88) ** 4, 0, 1)
    faces = []
    for sign in (1, -1):
        wrinkle = creases(
            np.stack([x.ravel(), y.ravel() * 2, 0 * x.ravel() + sign], 1),
            dice.rng,
            frequency=1.5,
            count=8,
        )
        pulls = np.sin(x * dice.between(12, 25)) * np.exp(-((1 - np.abs(y)) / 0.3))
        z = (
            sign * puff * np.sqrt(np.clip(inside, 0, None))
            + 0.06 * puff * wrinkle.reshape(x.shape)
            + 0.08 * puff * pulls
        )
        crimp = 0.0006 * np.sin(y * 300) * (np.abs(y) > 0.88)
        shrink = 1 - 0.12 * np.clip(1 - np.abs(y), 0, 1)
        made = grid(np.stack([x * wide / 2 * shrink, y * tall / 2, z + crimp], 2))
        faces.append(made if sign > 0 else made.flipped())
    return faces


def packet(dice: Dice) -> Item:
    """Crisp packet or sachet, full, opened or pressed flat; shiny inside."""
    wide = dice.between_apart(0.06, 0.19)
    tall, puff = wide * dice.between(1.1, 1.7), wide * dice.between(0.03, 0.22)
    silver = dice.grey(0.75, 0.9, 0.01)
    rough = dice.between(0.15, 0.45)
    parts = []
    for face in _pillow(wide, tall, puff, dice):
        texture = print_label(dice)
        parts.append(
            Part(
                face,
                Material(
                    (1, 1, 1),
                    texture,
                    back=silver,
                    roughness=rough,
                    gloss=1.4,
                    metal=dice.pick((0.0, 0.0, 0.35)),
                ),
            )
        )
    if dice.chance(0.4):
        amount = dice.between(0.1, 0.6)
        parts = crushed_parts(parts, dice, amount, 1.8)
    elif dice.chance(0.4):
        degrees = dice.between(20, 90)
        parts = [Part(bent(p.mesh, degrees), p.material) for p in parts]
    return Item(FORM, parts, ("settles",), "packet")


def wrapper(dice: Dice) -> Item:
    """Wrapper of a bar or a sweet: a creased, printed strip, at times torn, silver behind."""
    wide, tall = dice.between(0.04, 0.1), dice.between(0.1, 0.2)
    flat = sheet(wide, tall, 72, 72)
    made = crumpled_sheet(flat, dice, dice.between_apart(0.1, 0.6), scale=dice.between(0.03, 0.07))
    if dice.chance(0.5):
        made = bent(made, dice.between(30, 160))
    texture = print_label(dice, (SIZE, SIZE))
    if dice.chance(0.35):
        texture = torn(texture, dice)
    silver = dice.pick((dice.grey(0.78, 0.9, 0.01), dice.grey(0.9, 0.97)))
    look = Material(
        (1, 1, 1),
        texture,
        back=silver,
        roughness=dice.between(0.15, 0.4),
        gloss=1.4,
        metal=dice.pick((0.0, 0.3)),
    )
    return Item(FORM, [Part(made, look)], ("stands", "upside_down"), "wrapper", (3, 1))


def clear_wrap(dice: Dice) -> Item:
    """Cling film or a clear bag: a heap of folds that mostly shows through."""
    colour = dice.grey(0.85, 0.97, 0.02)
    haze = dice.between(0.06, 0.3)
    if dice.chance(0.45):
        made = crumpled_ball(
            dice, dice.between(0.03, 0.07), loose=dice.between(0, 1), soft=dice.pick((0.0, 0.03))
        )
    else:
        flat = sheet(dice.between(0.12, 0.25), dice.between(0.12, 0.25), 84, 84)
        made = soft_folds(flat, dice, dice.between(0.3, 1.0))
        made = made.along_normals(0.004 * creases(made.v / 0.04, dice.rng, frequency=1.0, count=8))
    look = _film(dice, colour, haze=haze)
    other = made.scaled((0.85, 0.85, 0.7)).moved((0, 0, 0.002))
    return Item(FORM, [Part(made, look), Part(other, look)], ("stands",), "clear_wrap")


def bubble_wrap(dice: Dice) -> Item:
    """Film with rows of air bubbles, flat, bent or rolled."""
    pitch = dice.between(0.009, 0.022)
    columns, rows = dice.whole(6, 14), dice.whole(6, 14)
    steps = 9
    wide, tall = columns * pitch, rows * pitch * 0.87
    y, x = np.mgrid[
        -tall / 2 : tall / 2 : rows * steps * 1j, -wide / 2 : wide / 2 : columns * steps * 1j
    ]
    row = np.round(y / (pitch * 0.87))
    dx = (x / pitch + 0.5 * (row % 2)) % 1 - 0.5
    dy = y / pitch - row * 0.87
    r = np.hypot(dx, dy) / 0.44
    burst = 0.35 + 0.65 * (
        np.sin(row * 12.9 + np.round(x / pitch + 0.5 * (row % 2)) * 78.2) * 43758 % 1
        > dice.between(0, 0.3)
    )
    z = pitch * 0.38 * np.sqrt(np.clip(1 - r**2, 0, 1)) * burst
    wave = smooth_noise(
        np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], 1), dice.rng, frequency=12, octaves=2
    )
    made = grid(np.stack([x, y, z + 0.006 * wave.reshape(x.shape)], 2))
    made = bent(made, dice.pick((0.0, dice.between(20, 120), dice.between(180, 330))))
    colour = dice.pick(
        (dice.grey(0.85, 0.95), dice.colour(strength=(0.1, 0.5), value=(0.7, 1))), (5, 1)
    )
    look = _film(dice, colour, haze=dice.between(0.12, 0.35))
    return Item(FORM, [Part(made, look)], ("stands",), "bubble_wrap")


def film_rings(dice: Dice) -> Item:
    """Carrier of rings that held drink cans."""
    pitch, parts = 0.058, []
    turn = np.linspace(0, 2 * np.pi, 36)
    for i in range(dice.pick((2, 3))):
        for j in range(2):
            ring = np.stack(
                [
                    i * pitch + 0.028 * np.cos(turn),
                    j * pitch + 0.028 * np.sin(turn),
                    0.004 + 0.004 * np.sin(turn * 2 + i),
                ],
                1,
            )
            parts.append(tube(ring, 0.0045, flat=0.12, sides=8))
    look = _film(dice, dice.grey(0.85, 0.95), haze=dice.between(0.2, 0.5))
    return Item(FORM, [Part(merge(parts), look)], ("stands",), "film_rings")


MAKERS = {
    "carrier_bag": (carrier_bag, 3.0),
    "bin_bag": (bin_bag, 0.7),
    "packet": (packet, 2.5),
    "wrapper": (wrapper, 2.0),
    "clear_wrap": (clear_wrap, 2.0),
    "bubble_wrap": (bubble_wrap, 1.0),
    "film_rings": (film_rings, 0.3),
}
