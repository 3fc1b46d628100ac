"""Bulbs, compact lamps and tubes."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Clear, Item, Material, Part, metal, plastic
from training.makers.mesh import merge, smooth_profile, tube, turned

FORM = "lamps"


def _screw(radius: float, high: float, dice: Dice) -> list[Part]:
    """Threaded cap with its contact, pointing down from 0."""
    t = np.linspace(0, 1, 40)
    thread = 0.0011 * np.sin(t * 2 * np.pi * 5)
    shell = turned(np.stack([radius + thread, -high * (1 - t)], 1))
    tip = turned(
        [
            (0, -high - 0.004),
            (radius * 0.35, -high - 0.0035),
            (radius * 0.45, -high - 0.001),
            (radius * 0.95, -high),
        ]
    )
    return [
        Part(shell, metal(dice.grey(0.7, 0.85, 0.02), 0.3)),
        Part(tip, plastic(dice.grey(0.05, 0.2))),
    ]


def _bulb_lines(neck: float, radius: float) -> dict[str, list[tuple[float, float]]]:
    """Corners of the outline of each kind of bulb, from the cap up."""
    return {
        "pear": [
            (neck, 0),
            (neck * 1.15, 0.012),
            (radius * 0.8, radius * 1.1),
            (radius, radius * 1.75),
            (radius * 0.72, radius * 2.5),
            (0, radius * 2.85),
        ],
        "candle": [
            (neck, 0),
            (neck * 1.1, 0.006),
            (radius * 0.8, radius * 1.2),
            (radius * 0.62, radius * 2.2),
            (radius * 0.15, radius * 3.3),
            (0, radius * 3.5),
        ],
        "globe": [
            (neck, 0),
            (neck * 1.1, 0.006),
            (radius * 0.85, radius * 0.75),
            (radius, radius * 1.4),
            (radius * 0.8, radius * 2.1),
            (0, radius * 2.5),
        ],
        "led": [(neck, 0), (radius * 0.8, radius * 0.75), (radius * 0.97, radius * 1.15)],
        "reflector": [
            (neck, 0),
            (neck * 1.05, 0.015),
            (radius * 0.75, radius * 1.0),
            (radius, radius * 1.6),
        ],
    }


def bulb(dice: Dice) -> Item:
    """Bulb: clear, frosted, a candle, a globe or a reflector, with a screw or pin cap."""
    radius = dice.between_apart(0.018, 0.045)
    kind = dice.pick(("pear", "candle", "globe", "led", "reflector"), (4, 2, 2, 4, 2))
    neck = dice.pick((0.013, 0.007)) if radius < 0.025 else 0.0133
    line = smooth_profile(_bulb_lines(neck, radius)[kind], 30)
    parts = _screw(neck, dice.between(0.018, 0.026), dice)
    white = dice.grey(0.92, 0.99, 0.01)
    frosted = Material(white, roughness=dice.between(0.2, 0.6), gloss=1.2, through=0.3)
    clear = Material(
        (1, 1, 1),
        roughness=0.03,
        clear=Clear((0.96, 0.97, 0.96), haze=0.02, bend=0.08, rim=0.6, shade=0.25),
    )
    if kind in ("led", "reflector"):
        body = plastic(white, 0.4) if dice.chance(0.6) else metal(dice.grey(0.7, 0.85), 0.35)
        parts.append(Part(turned(line, sides=60), body))
        top = line[-1]
        dome = radius * (dice.between(0.5, 0.85) if kind == "led" else dice.between(0.05, 0.3))
        cover = smooth_profile([top, (top[0] * 0.85, top[1] + dome * 0.7), (0, top[1] + dome)], 16)
        parts.append(
            Part(
                turned(cover),
                frosted
                if kind == "led"
                else Material(white, roughness=0.15, gloss=1.5, bump=0.2, grain=60),
            )
        )
    elif dice.chance(0.5):
        parts.append(Part(turned(line, sides=60), frosted))
    else:
        turn = np.linspace(0, 1, 60)
        coil = np.stack(
            [
                0.012 * (turn - 0.5) * 2,
                0.001 * np.sin(turn * 90),
                radius * 1.5 + 0.002 * np.cos(turn * 9),
            ],
            1,
        )
        stem = tube(np.array([[0, 0, 0], [0, 0, radius * 0.9]]), 0.003)
        wires = merge(
            [
                tube(coil, 0.0005, sides=6),
                tube(np.array([[0, 0, radius * 0.85], coil[0]]), 0.0004, sides=6),
                tube(np.array([[0, 0, radius * 0.85], coil[-1]]), 0.0004, sides=6),
            ]
        )
        parts += [
            Part(stem, frosted),
            Part(wires, metal((0.5, 0.48, 0.45), 0.4)),
            Part(turned(line, sides=60), clear),
        ]
    return Item(FORM, parts, ("lies", "settles", "stands"), "bulb", (6, 2, 1))


def compact_lamp(dice: Dice) -> Item:
    """Compact fluorescent lamp: a coiled or bent tube on a plastic base."""
    white = Material(dice.grey(0.94, 1, 0.01), roughness=0.15, gloss=1.3, through=0.2)
    base_r = dice.between(0.018, 0.025)
    base = turned(
        [(0.0133, 0), (base_r, 0.012), (base_r, 0.032), (base_r * 0.9, 0.036), (0, 0.036)]
    )
    parts = [*_screw(0.0133, 0.022, dice), Part(base, plastic(dice.grey(0.88, 0.97)))]
    t = np.linspace(0, 1, 130)
    if dice.chance(0.55):
        turns, wide = dice.between(2.5, 4), base_r * dice.between(0.9, 1.25)
        r = wide * np.clip(np.minimum(t / 0.06, (1 - t) / 0.06), 0.3, 1)
        high = 0.036 + dice.between(0.035, 0.06) * (1 - np.abs(2 * t - 1))
        path = np.stack(
            [r * np.cos(2 * np.pi * turns * t), r * np.sin(2 * np.pi * turns * t), high], 1
        )
        parts.append(Part(tube(path, dice.between(0.0035, 0.005)), white))
    else:
        tall = dice.between(0.06, 0.11)
        for i in range(dice.pick((2, 3))):
            u = np.linspace(0, np.pi, 40)
            x = 0.009 * np.cos(u)
            z = 0.036 + tall * np.clip(np.sin(u) * 3, 0, 1)
            leg = tube(np.stack([x, 0 * x + (i - 0.7) * 0.014, z], 1), 0.006)
            parts.append(Part(leg, white))
    return Item(FORM, parts, ("lies", "settles"), "compact_lamp")


def lamp_tube(dice: Dice) -> Item:
    """Straight fluorescent tube with metal ends and pins."""
    radius, long = dice.pick((0.008, 0.013)), dice.between(0.15, 0.6)
    body = turned([(radius, 0.012), (radius, long - 0.012)])
    white = Material(dice.grey(0.93, 1, 0.01), roughness=0.15, gloss=1.2)
    parts = [Part(body, white)]
    steel = metal(dice.grey(0.7, 0.85), 0.35)
    for at, sign in ((0, -1), (long, 1)):
        z = sorted((at, at - sign * 0.02))
        cap = turned([(0, z[0]), (radius * 1.03, z[0]), (radius * 1.03, z[1]), (0, z[1])])
        parts.append(Part(cap, steel))
        for side in (-1, 1):
            pin = tube(
                np.array(
                    [[side * radius * 0.45, 0, at], [side * radius * 0.45, 0, at + sign * 0.007]]
                ),
                0.0012,
            )
            parts.append(Part(pin, metal((0.8, 0.75, 0.6), 0.3)))
    return Item(FORM, parts, ("lies",), "lamp_tube")


MAKERS = {"bulb": (bulb, 2.5), "compact_lamp": (compact_lamp, 1.0), "lamp_tube": (lamp_tube, 0.7)}
