"""Loose batteries: round cells, button cells, blocks, packs and power banks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, metal, plastic
from training.makers.mesh import box, fine_profile, rotation, smooth_profile, turned
from training.makers.prints import SIZE, palette, print_label, word

FORM = "batteries"


def _chrome(dice: Dice) -> Material:
    return metal(dice.grey(0.7, 0.9, 0.02), dice.between(0.12, 0.4))


def _sleeve(dice: Dice) -> np.ndarray:
    """Print of a round cell: two or three bands of colour, words and signs."""
    colours = [tuple(int(255 * c) for c in colour) for colour in palette(dice, 3)]
    wide, tall = 2 * SIZE, SIZE
    image = Image.new("RGB", (wide, tall), colours[0])
    draw = ImageDraw.Draw(image)
    band = int(tall * dice.between(0.12, 0.4))
    gold = dice.pick(((184, 130, 70), (200, 170, 90), (190, 190, 195), colours[1]))
    draw.rectangle((0, 0, wide, band), fill=gold)
    if dice.chance(0.4):
        draw.rectangle((0, tall - band // 2, wide, tall), fill=colours[2])
    patch = print_label(dice, (tall, wide // 2))
    turned_patch = (
        Image.fromarray(patch).rotate(90, expand=True).resize((wide // 2, tall - band - 10))
    )
    if dice.chance(0.35):
        image.paste(turned_patch, (dice.whole(0, wide // 2), band + 5))
    text = Image.new("L", (tall - band, 60), 0)
    ImageDraw.Draw(text).text((4, 4), word(dice).upper(), 255, font=_font(46))
    upright = text.rotate(dice.pick((90, 270)), expand=True)
    ink = (240, 240, 240) if sum(colours[0]) < 380 else (25, 25, 25)
    for x in (0.1, 0.6):
        image.paste(Image.new("RGB", upright.size, ink), (int(x * wide), band), upright)
    draw.text((int(0.3 * wide), 2), "+", ink, font=_font(50))
    draw.text((int(0.8 * wide), 2), "+", ink, font=_font(50))
    return np.asarray(image)


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _round_cell(radius: float, high: float, dice: Dice) -> list[Part]:
    skin = turned(
        fine_profile(
            [
                (radius * 0.97, 0.0004),
                (radius, 0.001),
                (radius, high - 0.0015),
                (radius * 0.95, high - 0.0008),
            ],
            3,
        )
    )
    look = Material(
        (1, 1, 1),
        _sleeve(dice),
        roughness=dice.between(0.15, 0.4),
        gloss=1.2,
        metal=dice.pick((0.0, 0.0, 0.4)),
    )
    chrome = _chrome(dice)
    top = turned(
        [
            (radius * 0.95, high - 0.0012),
            (radius * 0.42, high - 0.001),
            (radius * 0.4, high + 0.0012),
            (0, high + 0.0014),
        ]
    )
    low = turned([(0, 0.0002), (radius * 0.7, 0.0), (radius * 0.97, 0.0006)])
    return [Part(skin, look), Part(top, chrome), Part(low, chrome)]


def round_cells(dice: Dice) -> Item:
    """One to six round cells side by side or loose, all of one make."""
    radius, high = dice.pick(
        ((0.00725, 0.0505), (0.00525, 0.0445), (0.0131, 0.05), (0.017, 0.0615), (0.009, 0.065)),
        (6, 5, 1, 1, 1),
    )
    count = dice.pick((1, 2, 3, 4, 6), (5, 4, 1, 2, 1))
    seed = [dice.whole(0, 2**31)]
    if count == 1:
        return Item(FORM, _round_cell(radius, high, dice), ("lies", "stands"), "round_cell", (5, 1))
    parts: list[Part] = []
    loose = dice.chance(0.5)
    for i in range(count):
        cell = _round_cell(radius, high, Dice(seed, held=dice.held))
        turn = rotation((0, 1, 0), np.pi / 2) @ rotation((0, 0, 1), dice.between(0, 6.28))
        flip = rotation((0, 0, 1), np.pi if dice.chance(0.4) else 0.0)
        yaw = rotation((0, 0, 1), dice.rng.normal(0, 0.5) if loose else 0.0)
        pitch = radius * (2.02 if not loose else dice.between(2.2, 4.5))
        for part in cell:
            laid = part.mesh.moved((0, 0, -high / 2)).turned(yaw @ flip @ turn)
            shift = (dice.rng.normal(0, 0.006) if loose else 0.0, i * pitch, radius)
            parts.append(Part(laid.moved(shift), part.material))
    return Item(FORM, parts, ("stands",), "round_cells")


def button_cells(dice: Dice) -> Item:
    """One to six coin or button cells, at times in their blister."""
    parts = []
    count = dice.pick((1, 2, 4, 6), (4, 2, 1, 1))
    radius = dice.between_apart(0.004, 0.0125)
    high = radius * dice.between(0.25, 0.9) if radius < 0.007 else 0.0032
    steel = _chrome(dice)
    marked = None
    if dice.chance(0.6):
        image = Image.new("RGB", (128, 128), (205, 205, 205))
        draw = ImageDraw.Draw(image)
        draw.text((30, 28), "+", (90, 90, 90), font=_font(40))
        draw.text((28, 70), f"CR{dice.whole(1000, 2999)}", (100, 100, 100), font=_font(22))
        marked = np.asarray(image)
    for i in range(count):
        shape = [
            (0, 0),
            (radius * 0.8, 0),
            (radius * 0.82, high * 0.2),
            (radius, high * 0.25),
            (radius, high * 0.97),
            (radius * 0.96, high),
            (0, high),
        ]
        slip = dice.rng.normal(0, radius * 0.2, 2)
        spot = ((i % 3) * radius * 2.4 + slip[0], (i // 3) * radius * 2.5 + slip[1], 0)
        cell = turned(shape)
        if marked is not None:
            cell.uv[:] = cell.v[:, :2] / (2.4 * radius) + 0.5
        cell = cell.turned(rotation((0, 0, 1), dice.between(0, 6.28)))
        if dice.chance(0.35):
            cell = cell.turned(rotation((1, 0, 0), np.pi)).moved((0, 0, high))
        look = steel if marked is None else replace(steel, colour=(1, 1, 1), texture=marked)
        parts.append(Part(cell.moved(spot), look))
    if dice.chance(0.15) and count > 1:
        places = np.concatenate([p.mesh.v for p in parts])
        middle = (places.min(0) + places.max(0)) / 2
        card = box(0.07, 0.09, 0.0008).moved((middle[0], middle[1], -0.0009))
        parts.append(Part(card, Material((1, 1, 1), print_label(dice), roughness=0.5)))
    return Item(FORM, parts, ("stands",), "button_cells")


def block_battery(dice: Dice) -> Item:
    """Block of nine volts or a lantern battery, with its contacts."""
    big = dice.chance(0.15)
    w, d, h = (0.067, 0.067, 0.1) if big else (0.0265, 0.0175, 0.0485)
    body = box(w, d, h - 0.002, 2)
    look = Material((1, 1, 1), print_label(dice), roughness=dice.between(0.2, 0.4), gloss=1.1)
    chrome = _chrome(dice)
    top = box(w * 0.97, d * 0.97, 0.001).moved((0, 0, h - 0.002))
    studs = []
    for sign, r in ((-1, 0.0029), (1, 0.0042)):
        stud = turned(
            [(r, 0), (r, 0.0028), (r * 0.7, 0.003), (0, 0.0024)], power=2 if sign < 0 else 5
        )
        studs.append(
            Part(stud.scaled(2.0 if big else 1.0).moved((sign * w * 0.24, 0, h - 0.001)), chrome)
        )
    parts = [Part(body, look), Part(top, plastic(dice.grey(0.04, 0.15))), *studs]
    return Item(FORM, parts, ("stands", "lies", "settles"), "block_battery", (2, 3, 1))


def flat_pack(dice: Dice) -> Item:
    """Power bank, or the flat pack of a phone or a camera."""
    bank = dice.chance(0.6)
    wide = dice.between(0.055, 0.085) if bank else dice.between(0.03, 0.055)
    tall = wide * dice.between(1.3, 2.1)
    thick = dice.between(0.009, 0.024) if bank else dice.between(0.003, 0.01)
    swollen = dice.between(0.1, 0.5) if dice.chance(0.2) else 0.0
    colour = dice.pick(
        (dice.grey(0.03, 0.2), dice.grey(0.8, 0.97), dice.colour(strength=(0.3, 0.9)))
    )
    half = thick / 2
    line = smooth_profile(
        [
            (wide * 0.45, 0),
            (wide * 0.49, half * 0.3),
            (wide / 2, half),
            (wide * 0.49, thick - half * 0.3),
            (wide * 0.45, thick),
        ],
        14,
    )
    shape = np.concatenate(
        [
            [(0, -swollen * half), (wide * 0.3, -swollen * half * 0.6)],
            line,
            [(wide * 0.3, thick + swollen * half * 0.6), (0, thick + swollen * half)],
        ]
    )
    body = turned(shape, sides=72, power=dice.between(5, 14), aspect=tall / wide)
    body.uv[:] = body.v[:, :2] / [wide, tall] + 0.5
    look = plastic(colour, dice.between(0.25, 0.6))
    if not bank or dice.chance(0.3):
        look = replace(look, colour=(1, 1, 1), texture=print_label(dice, ground=colour))
    parts = [Part(body, look)]
    if bank:
        dark = plastic(dice.grey(0.02, 0.08), 0.4)
        for x in (-0.22, 0.02, 0.24):
            if dice.chance(0.75):
                port = box(wide * dice.between(0.1, 0.2), 0.004, thick * dice.between(0.2, 0.4))
                parts.append(Part(port.moved((x * wide, -tall / 2 + 0.0015, thick * 0.35)), dark))
        for i in range(4 if dice.chance(0.6) else 0):
            glow = turned([(0.0015, thick), (0, thick + 0.0004)], sides=12)
            parts.append(
                Part(glow.moved((-0.01 + 0.006 * i, tall * 0.38, 0)), plastic((0.5, 0.8, 1.0)))
            )
    else:
        gold = metal((0.85, 0.7, 0.3), 0.25)
        for i in range(3):
            parts.append(
                Part(
                    box(0.003, 0.001, thick * 0.5).moved(
                        (-0.006 + i * 0.006, -tall / 2, thick * 0.2)
                    ),
                    gold,
                )
            )
    return Item(FORM, parts, ("stands", "upside_down"), "flat_pack", (3, 1))


MAKERS = {
    "round_cells": (round_cells, 3.0),
    "button_cells": (button_cells, 1.5),
    "block_battery": (block_battery, 1.0),
    "flat_pack": (flat_pack, 1.5),
}
