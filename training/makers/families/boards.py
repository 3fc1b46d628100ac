"""Boxes of board, drink cartons, wood, and folded cloth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.floors import draw_floor, wood_colours, wood_grain
from training.makers.material import Item, Material, Part, metal, paper, plastic
from training.makers.mesh import Mesh, box, grid, merge, rotation, sheet, tube, turned
from training.makers.outlines import cut, relief, strokes_mask
from training.makers.prints import SIZE, print_label
from training.makers.warps import bent, crumpled_sheet, crushed_parts, rippled, soft_folds


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
        core = grid(np.stack([wave + [0, -d / 2, 0], wave + [0, d / 2, 0]]))
        parts = [
            Part(crumpled_sheet(merge(faces), dice, dice.between(0.0, 0.06), scale=0.15), look),
            Part(core, paper(colour * 0.85)),
        ]
        if dice.chance(0.5):
            degrees = dice.between(10, 100)
            parts = [Part(bent(p.mesh, dice, degrees), p.material) for p in parts]
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


def _wood(dice: Dice, colours: tuple[np.ndarray, np.ndarray] | None = None) -> Material:
    dark, bright = colours or wood_colours(dice)
    grain = wood_grain(dice, 128, rings=dice.between(2, 9))[..., None]
    texture = (np.clip(dark + (bright - dark) * grain, 0, 1) * 255).astype(np.uint8)
    return Material(
        (1, 1, 1), texture, roughness=dice.between(0.5, 0.9), gloss=0.4, bump=0.1, grain=12
    )


def planks(dice: Dice) -> Item:
    """Offcuts, slats, pallet pieces, chipboard; nails at times."""
    parts = []
    for _ in range(dice.pick((1, 2, 4), (4, 2, 1))):
        w, d, h = dice.between(0.1, 0.4), dice.between(0.02, 0.09), dice.between(0.006, 0.04)
        body = box(w, d, h, 12)
        body.uv[:] = (body.v[:, [0, 1]] + body.v[:, 2:] * 0.5) / [0.3, 0.08] + 0.5
        if dice.chance(0.4):
            end = body.v[:, 0] > w * 0.42
            jag = 0.02 * np.sin(body.v[:, 1] * 500) * np.cos(body.v[:, 2] * 700)
            body = body.moved(np.stack([end * jag, 0 * jag, 0 * jag], 1))
        turn = rotation((0, 0, 1), dice.rng.normal(0, 0.5))
        high = max((float(p.mesh.v[:, 2].max()) for p in parts), default=0.0)
        parts.append(
            Part(body.turned(turn).moved((*dice.rng.normal(0, 0.03, 2), high)), _wood(dice))
        )
    if dice.chance(0.25):
        nail = tube(np.array([[0, 0, 0], [0.003, 0, 0.04]]), 0.0015, sides=8)
        top = max(float(p.mesh.v[:, 2].max()) for p in parts)
        parts.append(Part(nail.moved((0.02, 0, top - 0.01)), metal(dice.grey(0.4, 0.7), 0.5)))
    return Item("wood", parts, ("stands", "settles"), "planks", (3, 1))


def wooden_things(dice: Dice) -> Item:
    """Chopsticks, skewers, ice-cream sticks, spoons, pegs, corks and blocks."""
    kind = dice.pick(("sticks", "spoon", "pegs", "corks", "blocks", "board"))
    pale = (
        dice.colour((0.07, 0.11), (0.25, 0.5), (0.55, 0.75)),
        dice.colour((0.08, 0.12), (0.2, 0.4), (0.75, 0.92)),
    )
    look = _wood(dice, pale)
    parts: list[Part] = []
    if kind == "sticks":
        flat, long = dice.chance(0.5), dice.between(0.09, 0.22)
        for _ in range(dice.whole(1, 6)):
            r = dice.between(0.0015, 0.003) if not flat else 0.005
            stick = tube(
                np.array([[-long / 2, 0, 0], [0, 0, 0], [long / 2, 0, 0]]),
                np.array([r, r, r if flat else r * 0.6]),
                flat=0.22 if flat else 1.0,
            )
            turn = rotation((0, 0, 1), dice.rng.normal(0, 0.5))
            parts.append(
                Part(
                    stick.turned(turn).moved(
                        (*dice.rng.normal(0, 0.015, 2), r + 0.001 * len(parts))
                    ),
                    look,
                )
            )
    elif kind == "spoon":
        lines = [(np.array([[-0.9, 0], [0.4, 0]]), 0.08), (np.array([[0.55, 0], [0.72, 0]]), 0.32)]
        mask = strokes_mask(lines)
        texture = cut(np.asarray(look.texture), mask)
        long = dice.between(0.15, 0.3)
        parts.append(
            Part(
                relief(mask, long, long, 0.008, edge=0.6, steps=90), replace(look, texture=texture)
            )
        )
    elif kind == "pegs":
        for _ in range(dice.whole(1, 5)):
            halves = [
                box(0.072, 0.01, 0.005, 4)
                .turned(rotation((0, 1, 0), s * 0.06))
                .moved((0, 0, 0.008 + s * 0.0045))
                for s in (-1, 1)
            ]
            coil = tube(np.array([[0.005, -0.007, 0.008], [0.005, 0.007, 0.008]]), 0.004)
            turn = rotation((0, 0, 1), dice.between(0, 6.28)) @ rotation(
                (1, 0, 0), dice.pick((0.0, np.pi / 2))
            )
            shift = np.array([*dice.rng.normal(0, 0.03, 2), 0.004])
            parts.append(Part(merge(halves).turned(turn).moved(shift), look))
            parts.append(Part(coil.turned(turn).moved(shift), metal(dice.grey(0.6, 0.8), 0.3)))
    elif kind == "corks":
        tone = dice.colour((0.06, 0.09), (0.3, 0.5), (0.55, 0.75))
        for _ in range(dice.whole(1, 4)):
            cork = rippled(
                turned([(0, 0), (0.0115, 0), (0.012, 0.02), (0.0115, 0.044), (0, 0.044)]),
                dice,
                0.0005,
                150,
            )
            laid = cork.turned(
                rotation((0, 0, 1), dice.between(0, 6.28)) @ rotation((0, 1, 0), np.pi / 2)
            )
            parts.append(
                Part(
                    laid.moved((*dice.rng.normal(0, 0.025, 2), 0.012)),
                    Material(tone, roughness=0.9, bump=0.3, grain=30, mottle=0.6),
                )
            )
    elif kind == "blocks":
        for _ in range(dice.whole(1, 5)):
            size = dice.between(0.02, 0.05)
            block = box(size * dice.pick((1, 1, 2)), size, size, 4).turned(
                rotation((0, 0, 1), dice.between(0, 6.28))
            )
            tone = (
                look if dice.chance(0.6) else replace(look, colour=dice.colour(strength=(0.5, 0.9)))
            )
            parts.append(Part(block.moved((*dice.rng.normal(0, 0.04, 2), 0)), tone))
    else:
        parts.append(
            Part(
                box(dice.between(0.15, 0.3), dice.between(0.1, 0.2), dice.between(0.01, 0.02), 6),
                look,
            )
        )
    return Item("wood", parts, ("stands",), kind)


def cloth(dice: Dice) -> Item:
    """Tea towel, rag, sock-like or folded cloth."""
    look = draw_floor(dice, dice.pick(("cloth", "checked", "stripes", "plain")))
    wide, deep = dice.between(0.2, 0.4), dice.between(0.2, 0.5)
    kind = dice.pick(("heap", "flat", "folded"))
    flat = sheet(wide, deep, 90, 90)
    if kind == "folded":
        meshes: list[Mesh] = []
        for i in range(dice.whole(2, 5)):
            layer = soft_folds(sheet(wide * 0.5, deep * 0.5, 40, 40), dice, 0.06)
            meshes.append(layer.moved((0, 0, 0.006 * i)))
        made = merge(meshes)
    else:
        made = soft_folds(
            flat, dice, dice.between(0.6, 1.2) if kind == "heap" else dice.between(0.05, 0.4)
        )
    made.uv[:] = made.uv * wide / look.tile
    return Item(
        "textile",
        [Part(made, replace(look.material, relief="weave", bump=0.25, grain=18))],
        ("stands",),
        f"cloth_{kind}",
    )


MAKERS = {
    "paperboard_box": (paperboard_box, 1.5), "corrugated_box": (corrugated_box, 1.5), "drink_carton": (drink_carton, 1.5),
    "planks": (planks, 2.0), "wooden_things": (wooden_things, 2.5), "cloth": (cloth, 1.5),
}  # fmt: skip
