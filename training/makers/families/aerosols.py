"""Aerosol cans with their caps and heads."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part, metal, plastic
from training.makers.mesh import ball, fine_profile, smooth_profile, tube, turned
from training.makers.prints import SIZE, print_label
from training.makers.warps import crushed_parts


def aerosol(dice: Dice) -> Item:
    """Aerosol can with dome and valve: with its cap, with a spray head, or bare."""
    radius = dice.between(0.0175, 0.033)
    high = radius * dice.between_apart(3.6, 6.5)
    necked = dice.chance(0.5)
    shoulder = high * dice.between(0.9, 0.96)
    texture = print_label(dice, (2 * SIZE, 2 * SIZE))
    steel = metal(dice.grey(0.7, 0.88, 0.02), dice.between(0.15, 0.4))
    shine = dice.pick((0.0, 0.3, 0.6))
    print_look = Material(
        (1, 1, 1), texture, roughness=dice.between(0.12, 0.4), gloss=1.2, metal=shine
    )
    rim = (
        []
        if necked
        else [
            Part(
                turned(
                    [
                        (radius, 0.002),
                        (radius * 1.03, 0.001),
                        (radius * 1.03, 0.004),
                        (radius, 0.005),
                    ]
                ),
                steel,
            )
        ]
    )
    side = turned(fine_profile([(radius, 0.004), (radius, shoulder)], 16))
    foot = turned([(0, 0.009), (radius * 0.75, 0.002), (radius * 0.95, 0), (radius, 0.004)])
    valve = radius * 0.5
    dome = _dome(radius, shoulder, valve, necked=necked)
    end = float(dome[-1, 1])
    cup = [
        (valve, end),
        (valve * 1.08, end + 0.002),
        (valve * 0.9, end + 0.0035),
        (valve * 0.7, end),
        (0.003, end),
        (0.002, end + 0.006),
        (0, end + 0.006),
    ]
    parts = [
        Part(side, print_look),
        Part(foot, steel),
        *rim,
        Part(turned(dome), print_look if necked else steel),
        Part(turned(cup), steel),
    ]
    top = dice.pick(("cap", "head", "bare", "nozzle"), (4, 4, 2, 2))
    colour = dice.pick(
        (dice.grey(0.9, 0.98), dice.grey(0.03, 0.12), dice.colour(strength=(0.5, 1)))
    )
    parts += _top(top, radius, shoulder, end, plastic(colour, dice.between(0.2, 0.5)), dice)
    if dice.chance(0.2):
        parts = crushed_parts(parts, dice, dice.between(0.03, 0.2), 1.5)
    return Item("aerosol_can", parts, ("stands", "lies", "settles"), "aerosol", (4, 5, 1))


def _dome(radius: float, shoulder: float, valve: float, *, necked: bool) -> np.ndarray:
    """Line of the top, from the side to the valve; one that is not necked in has a rim."""
    if necked:
        return smooth_profile(
            [
                (radius, shoulder),
                (radius * 0.92, shoulder + radius * 0.22),
                (valve, shoulder + radius * 0.42),
            ],
            12,
        )
    return np.concatenate(
        [
            [
                (radius, shoulder),
                (radius * 1.03, shoulder + 0.001),
                (radius * 1.03, shoulder + 0.004),
                (radius * 0.97, shoulder + 0.004),
            ],
            smooth_profile(
                [
                    (radius * 0.95, shoulder + 0.002),
                    (radius * 0.8, shoulder + radius * 0.25),
                    (valve, shoulder + radius * 0.4),
                ],
                8,
            ),
        ]
    )


def _top(
    kind: str, radius: float, shoulder: float, end: float, look: Material, dice: Dice
) -> list[Part]:
    if kind == "cap":
        wide, tall = radius * dice.between(0.85, 1.04), radius * dice.between(0.9, 1.9)
        low = shoulder + (0.004 if wide > radius * 0.95 else radius * 0.15)
        line = [
            (wide, low),
            (wide * 0.99, low + tall * 0.85),
            (wide * 0.9, low + tall),
            (0, low + tall * dice.between(0.98, 1.06)),
        ]
        return [Part(turned(line), look)]
    if kind == "bare":
        return []
    head = turned([(0.0055, end), (0.0055, end + 0.009), (0.004, end + 0.011), (0, end + 0.0105)])
    dot = ball(0.0012, 2).moved((0.0055, 0, end + 0.0065))
    parts = [Part(head, look), Part(dot, plastic((0.1, 0.1, 0.1)))]
    if kind == "nozzle":
        ring = turned(
            [
                (radius * 0.8, shoulder + radius * 0.1),
                (radius * 0.75, end + 0.012),
                (radius * 0.62, end + 0.013),
                (radius * 0.55, end + 0.002),
            ]
        )
        long = dice.between(0.0, 0.06)
        straw = tube(np.array([[0.004, 0, end + 0.0065], [0.012 + long, 0, end + 0.007]]), 0.0017)
        parts += [
            Part(ring, look),
            Part(
                straw,
                plastic(
                    dice.colour((0, 0.05), (0.7, 1), (0.5, 0.9)) if long > 0.02 else look.colour
                ),
            ),
        ]
    return parts


MAKERS = {"aerosol": (aerosol, 3.5)}
