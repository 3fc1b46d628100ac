"""Tissues, napkins, rolls of soft paper and their cores."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, paper
from training.makers.mesh import grid, sheet, turned
from training.makers.prints import print_label, stained
from training.makers.warps import crumpled_ball, crumpled_sheet, crushed_parts, soft_folds


def _tissue_look(dice: Dice, texture: np.ndarray | None = None) -> Material:
    colour = dice.pick(
        (
            dice.grey(0.88, 0.99, 0.02),
            dice.colour(strength=(0.08, 0.6), value=(0.75, 1)),
            dice.colour((0.07, 0.1), (0.2, 0.35), (0.65, 0.8)),
        ),
        (7, 2, 1),
    )
    look = Material(
        colour,
        roughness=1.0,
        gloss=0.05,
        relief=dice.pick(("fibre", "cells", "weave")),
        bump=dice.between(0.08, 0.3),
        grain=dice.between(14, 40),
        through=0.35,
    )
    if texture is not None:
        look = replace(look, colour=(1, 1, 1), texture=texture)
    return look


def tissue(dice: Dice) -> Item:
    """Tissue or kitchen paper: soft folds, a ball, or a flat sheet, at times soiled."""
    look = _tissue_look(dice)
    if dice.chance(0.35):
        flat = np.full((128, 128, 3), np.asarray(look.colour) * 255, np.uint8)
        look = replace(look, colour=(1, 1, 1), texture=stained(flat, dice, dice.between(0.3, 0.9)))
    if dice.chance(0.5):
        made = crumpled_ball(
            dice,
            dice.between(0.025, 0.055),
            loose=dice.between_apart(0, 0.8),
            soft=dice.between(0.02, 0.08),
        )
    else:
        flat_sheet = sheet(dice.between(0.14, 0.22), dice.between(0.14, 0.22), 72, 72)
        made = soft_folds(flat_sheet, dice, dice.between(0.1, 0.7))
    return Item("tissue", [Part(made, look)], ("stands",), "tissue")


def napkin(dice: Dice) -> Item:
    """Folded napkin, plain or printed."""
    size, thick = dice.between(0.09, 0.17), dice.between(0.002, 0.006)
    colour = dice.pick((dice.grey(0.88, 0.98), dice.colour(strength=(0.3, 0.9))))
    texture = (
        print_label(dice, ground=colour)
        if dice.chance(0.4)
        else np.full((64, 64, 3), colour * 255, np.uint8)
    )
    layers = []
    for i in range(3):
        flat = sheet(size - 0.001 * i, size - 0.002 * i, 40, 40)
        wavy = crumpled_sheet(flat, dice, dice.between(0.01, 0.12), scale=0.1).moved(
            (0.0005 * i, 0, thick * i / 2)
        )
        layers.append(Part(wavy, _tissue_look(dice, texture)))
    return Item("tissue", layers, ("stands",), "napkin")


def paper_roll(dice: Dice) -> Item:
    """Roll of toilet or kitchen paper, full or nearly used, with a loose end."""
    core = dice.between(0.018, 0.022)
    radius = core + dice.between(0.003, 0.045)
    high = dice.pick((dice.between(0.09, 0.11), dice.between(0.2, 0.25)), (2, 1))
    look = _tissue_look(dice)
    side = turned([(core, 0), (radius, 0), (radius, high), (core, high)], sides=64)
    tube_inside = turned([(core, 0), (core, high)], sides=40).flipped()
    card = paper(dice.colour((0.07, 0.1), (0.2, 0.4), (0.5, 0.7)))
    parts = [Part(side, look), Part(tube_inside, card)]
    if dice.chance(0.7):
        length = dice.between(0.03, 0.14)
        y = np.linspace(0, 1, 24)
        curve = np.stack([radius + 0.0008 + 0.004 * np.sin(3 * y) * y, -length * y], 1)
        points = np.stack([np.broadcast_to(np.array([x, yy]), (2, 2)) for x, yy in curve])
        tail = np.concatenate([points, np.broadcast_to([[[0.0], [high]]], (24, 2, 1))], 2)
        parts.append(Part(grid(tail), look))
    return Item("tissue", parts, ("stands", "lies"), "paper_roll", (2, 3))


def cardboard_core(dice: Dice) -> Item:
    """Empty core of a roll: paperboard."""
    core, high = (
        dice.between(0.018, 0.023),
        dice.pick((dice.between(0.09, 0.11), dice.between(0.2, 0.28))),
    )
    card = paper(dice.colour((0.06, 0.1), (0.15, 0.4), (0.5, 0.75)), mottle=0.1)
    skins = [
        turned([(core, 0), (core, high)]),
        turned([(core - 0.001, 0), (core - 0.001, high)]).flipped(),
    ]
    parts = [Part(skin, card) for skin in skins]
    if dice.chance(0.5):
        parts = crushed_parts(parts, dice, dice.between(0.1, 0.8))
    return Item("paperboard", parts, ("stands", "lies"), "core", (1, 4))


MAKERS = {
    "tissue": (tissue, 3.0),
    "napkin": (napkin, 1.0),
    "paper_roll": (paper_roll, 1.5),
    "cardboard_core": (cardboard_core, 0.5),
}
