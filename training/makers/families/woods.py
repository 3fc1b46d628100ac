"""Planks, sticks, spoons, pegs, corks and blocks of wood."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.floors import wood_colours, wood_grain
from training.makers.material import Item, Material, Part, metal
from training.makers.mesh import box, merge, rotation, tube, turned
from training.makers.outlines import cut, relief, strokes_mask
from training.makers.warps import rippled


def _wood(dice: Dice, colours: tuple[np.ndarray, np.ndarray] | None = None) -> Material:
    dark, bright = colours or wood_colours(dice)
    grain = wood_grain(dice, 128, rings=dice.between(2, 9))[..., None]
    texture = (np.clip(dark + (bright - dark) * grain, 0, 1) * 255).astype(np.uint8)
    return Material(
        (1, 1, 1), texture, roughness=dice.between(0.5, 0.9), gloss=0.4, bump=0.1, grain=12
    )


def planks(dice: Dice) -> Item:
    """Offcuts, slats, pallet pieces, chipboard; nails at times."""
    parts: list[Part] = []
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
        parts += _pegs(dice, look)
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
            side = (
                look if dice.chance(0.6) else replace(look, colour=dice.colour(strength=(0.5, 0.9)))
            )
            parts.append(Part(block.moved((*dice.rng.normal(0, 0.04, 2), 0)), side))
    else:
        parts.append(
            Part(
                box(dice.between(0.15, 0.3), dice.between(0.1, 0.2), dice.between(0.01, 0.02), 6),
                look,
            )
        )
    return Item("wood", parts, ("stands",), kind)


def _pegs(dice: Dice, look: Material) -> list[Part]:
    parts: list[Part] = []
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
    return parts


MAKERS = {
    "planks": (planks, 2.0),
    "wooden_things": (wooden_things, 2.5),
}
