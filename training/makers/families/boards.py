"""Boxes of board, drink cartons, wood, and folded cloth."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, paper, plastic
from training.makers.mesh import box, grid, merge, rotation, sheet, tube, turned
from training.makers.prints import SIZE, print_label
from training.makers.warps import bent, crumpled_sheet, crushed_parts


def _kraft(dice: Dice) -> np.ndarray:
    return dice.colour((0.065, 0.1), (0.25, 0.5), (0.5, 0.75))


def _box_print(dice: Dice, ground: np.ndarray) -> np.ndarray:
    """Six sides in two by three cells."""
    cells = [print_label(dice, (160, 160), ground) for _ in range(3)]
    cells += [cells[0], cells[1], print_label(dice, (160, 160), ground)]
    rows = [np.concatenate(cells[2 * i : 2 * i + 2], 1) for i in range(3)]
    return np.concatenate(rows, 0)


def paperboard_box(dice: Dice) -> Item:
    """Printed folding box, whole, opened or pressed flat."""
    w, d, h = dice.between(0.04, 0.2), dice.between(0.02, 0.09), dice.between(0.06, 0.28)
    ground = dice.pick((dice.colour(strength=(0.3, 0.9)), dice.grey(0.88, 0.98)))
    look = Material(
        (1, 1, 1), _box_print(dice, ground), roughness=dice.between(0.35, 0.7), gloss=0.8
    )
    parts = [Part(box(w, d, h, 14), look)]
    grey = paper(dice.pick((dice.grey(0.6, 0.8), _kraft(dice))))
    if dice.chance(0.4):
        parts += _flaps(w, d, h, grey, dice)
    if dice.chance(0.35):
        parts = crushed_parts(parts, dice, dice.between(0.05, 0.7), 1.3)
    return Item("paperboard", parts, ("settles", "stands"), "paperboard_box", (3, 1))


def _flaps(w: float, d: float, h: float, look: Material, dice: Dice) -> list[Part]:
    parts = [
        Part(
            box(w * 0.98, d * 0.98, 0.001).moved((0, 0, h)),
            Material(np.asarray(look.colour) * 0.35, roughness=1),
        )
    ]
    for side in (-1, 1):
        flap = (
            sheet(w, d * 0.8, 6, 6)
            .moved((0, d * 0.4, 0))
            .turned(rotation((1, 0, 0), dice.between(0.3, 2.4)))
        )
        if side < 0:
            flap = flap.turned(rotation((0, 0, 1), np.pi))
        parts.append(Part(flap.moved((0, side * d / 2, h)), look))
    return parts


def corrugated_box(dice: Dice) -> Item:
    """Box of corrugated board, open or shut, or a flat piece with its wavy edge."""
    colour = _kraft(dice)
    lines = 0.03 * np.sin(np.arange(SIZE) * 2 * np.pi * dice.whole(25, 60) / SIZE)
    tone = np.clip(colour * (1 + lines[:, None, None]) * np.ones((SIZE, SIZE, 1)), 0, 1)
    texture = (tone * 255).astype(np.uint8)
    if dice.chance(0.35):
        texture[20:220, 30:230] = np.asarray(print_label(dice, (200, 200), colour))
    look = paper((1, 1, 1), texture=texture)
    if dice.chance(0.45):
        w, d = dice.between(0.1, 0.3), dice.between(0.08, 0.22)
        z = np.linspace(0, 1, 90)
        wave = np.stack([w * (z - 0.5), 0 * z, 0.0016 * np.sin(z * 220) + 0.002], 1)
        faces = [sheet(w, d, 30, 30).moved((0, 0, 0.004)), sheet(w, d, 30, 30).flipped()]
        side = np.array([0, d / 2, 0])
        core = grid(np.stack([wave - side, wave + side]))
        parts = [
            Part(crumpled_sheet(merge(faces), dice, dice.between(0.0, 0.06), scale=0.15), look),
            Part(core, paper(colour * 0.85)),
        ]
        if dice.chance(0.5):
            degrees = dice.between(10, 100)
            parts = [Part(bent(p.mesh, degrees), p.material) for p in parts]
        return Item("corrugated_cardboard", parts, ("stands",), "corrugated_piece")
    w, d, h = dice.between(0.12, 0.35), dice.between(0.1, 0.25), dice.between(0.06, 0.25)
    parts = [Part(box(w, d, h, 14), look)]
    if dice.chance(0.6):
        parts += _flaps(w, d, h, paper(colour), dice)
    else:
        tape = sheet(w * 0.99, 0.05, 4, 4).moved((0, 0, h + 0.0006))
        parts.append(Part(tape, plastic(dice.colour((0.07, 0.1), (0.4, 0.7), (0.5, 0.75)), 0.25)))
    if dice.chance(0.35):
        parts = crushed_parts(parts, dice, dice.between(0.03, 0.4), 1.3)
    return Item("corrugated_cardboard", parts, ("stands", "settles"), "corrugated_box", (3, 1))


def drink_carton(dice: Dice) -> Item:
    """Carton for milk or juice, flat or gabled top, with a cap or straw at times, often crushed."""
    w = dice.between(0.045, 0.095)
    d, h = w * dice.between(0.65, 1.0), w * dice.between_apart(1.6, 2.8)
    ground = dice.pick((dice.colour(strength=(0.3, 0.9)), dice.grey(0.9, 0.99)))
    look = Material(
        (1, 1, 1), _box_print(dice, ground), roughness=dice.between(0.25, 0.5), gloss=0.9
    )
    parts = [Part(box(w, d, h, 14), look)]
    if dice.chance(0.5):
        t = np.linspace(-1, 1, 9)
        roof = [
            np.stack([w / 2 * t, np.full(9, y), np.full(9, z)], 1)
            for y, z in (
                (-d / 2, h),
                (-0.001, h + d * 0.42),
                (-0.001, h + d * 0.42 + 0.014),
                (0.001, h + d * 0.42 + 0.014),
                (0.001, h + d * 0.42),
                (d / 2, h),
            )
        ]
        gable = grid(np.stack(roof))
        ends = [
            grid(
                np.array(
                    [
                        [[s * w / 2, -d / 2, h], [s * w / 2, d / 2, h]],
                        [[s * w * 0.42, 0, h + d * 0.4], [s * w * 0.42, 0, h + d * 0.4]],
                    ]
                )
            )
            for s in (-1, 1)
        ]
        parts.append(Part(merge([gable, *ends]), Material(ground, roughness=0.4)))
        cap_at = np.array([0, -d * 0.25, h + d * 0.22])
        lean = rotation((1, 0, 0), 0.7)
    else:
        fin = box(w * 0.98, 0.0015, 0.012).turned(rotation((1, 0, 0), 1.4)).moved((0, 0, h + 0.001))
        parts.append(Part(fin, look))
        cap_at, lean = np.array([w * 0.22, -d * 0.2, h]), np.eye(3)
    if dice.chance(0.6):
        cap = turned([(0.0135, 0), (0.0135, 0.012), (0.012, 0.013), (0, 0.013)])
        parts.append(
            Part(
                cap.turned(lean).moved(cap_at),
                plastic(dice.pick((dice.grey(0.9, 0.98), dice.colour(strength=(0.5, 1))))),
            )
        )
    elif dice.chance(0.3):
        straw = tube(
            np.array([[w * 0.2, 0, h], [w * 0.25, 0, h + 0.05], [w * 0.5, 0, h + 0.075]]), 0.002
        )
        parts.append(Part(straw, plastic(dice.grey(0.85, 0.98))))
    if dice.chance(0.5):
        parts = crushed_parts(parts, dice, dice.between(0.08, 0.75), 1.3)
    return Item("beverage_carton", parts, ("lies", "stands", "settles"), "drink_carton", (3, 2, 2))


MAKERS = {
    "paperboard_box": (paperboard_box, 1.5),
    "corrugated_box": (corrugated_box, 1.5),
    "drink_carton": (drink_carton, 1.5),
}
