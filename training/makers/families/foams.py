"""Trays, blocks and pieces of foam."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part
from training.makers.mesh import (
    box,
    fine_profile,
    merge,
    rotation,
    tube,
    turned,
)
from training.makers.warps import crushed_parts, rippled


def _foam(dice: Dice) -> Material:
    colour = dice.pick(
        (
            dice.grey(0.9, 0.99, 0.01),
            dice.grey(0.03, 0.1),
            dice.colour(strength=(0.1, 0.4), value=(0.8, 1)),
        ),
        (8, 1, 1),
    )
    return Material(
        colour,
        roughness=0.75,
        gloss=0.35,
        relief="cells",
        bump=dice.between(0.1, 0.4),
        grain=dice.between(9, 20),
        mottle=0.12,
        through=0.1,
    )


def foam_tray(dice: Dice) -> Item:
    """Tray, clamshell or bowl of foam."""
    top = dice.between(0.06, 0.12)
    high, power, aspect = dice.between(0.015, 0.045), dice.pick((2.0, 6.0)), dice.between(0.6, 1)
    low = top - dice.between(0.3, 0.7) * high
    thick = 0.0035
    line = [
        (0, 0),
        (low, 0),
        (top, high),
        (top + 0.004, high),
        (top + 0.004, high + thick),
        (top - 0.002, high + thick),
        (low - 0.002, thick),
        (0, thick),
    ]
    made = turned(
        fine_profile(line, 5), sides=84, power=power, aspect=1.0 if power == 2 else aspect
    )
    look = _foam(dice)
    parts = [Part(made, look)]
    if power > 2 and dice.chance(0.45):
        half = top * aspect + 0.006
        turn = rotation((1, 0, 0), -dice.between(0.3, 2.8))
        lid = (
            made.turned(rotation((1, 0, 0), np.pi))
            .moved((0, -half, 0))
            .turned(turn)
            .moved((0, half, high + thick))
        )
        parts.append(Part(lid, look))
    if dice.chance(0.25):
        parts = crushed_parts(parts, dice, dice.between(0.05, 0.3), 1.4)
    return Item("plastic_foam", parts, ("stands", "upside_down", "settles"), "foam_tray", (4, 2, 1))


def foam_block(dice: Dice) -> Item:
    """Packing block or broken piece of foam, with recesses, or loose pieces."""
    look = _foam(dice)
    if dice.chance(0.3):
        bits = []
        for _ in range(dice.whole(3, 14)):
            t = np.linspace(0, np.pi * dice.between(0.6, 1.1), 14)
            bit = tube(np.stack([0.014 * np.cos(t), 0.014 * np.sin(t), 0 * t], 1), 0.008).turned(
                rotation(dice.rng.normal(size=3), dice.between(0, 3))
            )
            bits.append(bit.moved((*dice.rng.normal(0, 0.035, 2), -bit.v[:, 2].min())))
        return Item("plastic_foam", [Part(merge(bits), look)], ("stands",), "foam_pieces")
    w, d, h = dice.between(0.06, 0.25), dice.between(0.05, 0.15), dice.between(0.02, 0.09)
    body = box(w, d, h, 26)
    y = body.v[:, 1] / d
    for _ in range(dice.whole(0, 3)):
        at, half = dice.between(-0.35, 0.35), dice.between(0.06, 0.2)
        dip = (
            (np.abs(body.v[:, 0] / w - at) < half)
            * (np.abs(y) < dice.between(0.2, 0.6))
            * (body.v[:, 2] > h * 0.98)
        )
        body = body.moved(np.stack([0 * y, 0 * y, dip * (-0.5 * h)], 1))
    body = rippled(body, dice, dice.pick((0.0005, 0.006)), 22)
    return Item("plastic_foam", [Part(body, look)], ("settles",), "foam_block")


MAKERS = {
    "foam_tray": (foam_tray, 2.0),
    "foam_block": (foam_block, 2.0),
}
