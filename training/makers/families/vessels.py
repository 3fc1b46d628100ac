"""Bottles and jars of clear plastic and glass, bottles of milky plastic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Clear, Item, Material, Part, metal, plastic
from training.makers.mesh import Mesh, smooth_profile, turned
from training.makers.prints import SIZE, print_label
from training.makers.warps import crushed_parts


def glass_tint(dice: Dice) -> np.ndarray:
    """Draw what a wall lets through: white, green, brown or blue glass."""
    return dice.pick(
        (
            dice.grey(0.9, 0.98, 0.015),
            dice.colour((0.28, 0.4), (0.3, 0.75), (0.35, 0.75)),
            dice.colour((0.05, 0.09), (0.6, 0.95), (0.3, 0.6)),
            dice.colour((0.55, 0.62), (0.3, 0.7), (0.5, 0.8)),
        ),
        (5, 3, 3, 0.5),
    )


def glass(dice: Dice, tint: np.ndarray) -> Material:
    """Thin wall of glass of a tint."""
    return Material(
        (0.9, 0.95, 0.92),
        roughness=dice.between(0.02, 0.08),
        clear=Clear(
            tint,
            haze=dice.pick((0.0, 0.02, 0.08)),
            bend=dice.between(0.06, 0.18),
            rim=dice.between(0.5, 0.85),
            shade=0.4,
        ),
    )


def _pet(dice: Dice) -> Material:
    tint = dice.pick(
        (
            dice.grey(0.95, 0.99, 0.01),
            dice.colour((0.5, 0.6), (0.05, 0.3), (0.85, 0.98)),
            dice.colour((0.28, 0.42), (0.3, 0.7), (0.5, 0.8)),
        ),
        (6, 2, 1),
    )
    return Material(
        (0.92, 0.95, 0.97),
        roughness=dice.between(0.05, 0.15),
        gloss=1.1,
        clear=Clear(
            tint,
            haze=dice.between(0.01, 0.09),
            bend=dice.between(0.03, 0.08),
            rim=dice.between(0.25, 0.5),
            shade=0.2,
        ),
    )


def _band(
    radius: np.ndarray, heights: np.ndarray, low: float, high: float, gap: float = 0.0006
) -> Mesh:
    """Label around a body between two heights."""
    at = np.linspace(low, high, 16)
    return turned(np.stack([np.interp(at, heights, radius) + gap, at], 1), sides=60)


def _cap(radius: float, low: float, tall: float, colour: np.ndarray) -> Part:
    made = turned(
        [
            (radius, low),
            (radius, low + tall),
            (radius * 0.94, low + tall + 0.001),
            (0, low + tall + 0.001),
        ],
        sides=72,
    )
    ribs = 0.0003 * np.sin(np.arctan2(made.v[:, 1], made.v[:, 0]) * 36)
    return Part(
        made.along_normals(ribs * (np.hypot(made.v[:, 0], made.v[:, 1]) > radius * 0.97)),
        plastic(colour),
    )


def pet_bottle(dice: Dice) -> Item:
    """Clear drink bottle with ribs or waist, label and cap or without, often crushed."""
    high = dice.between_apart(0.16, 0.33)
    radius = high * dice.between(0.13, 0.17)
    neck, shoulder = 0.0125, high * dice.between(0.62, 0.74)
    waist = dice.between(0.82, 1.0)
    line = smooth_profile(
        [
            (radius * 0.75, 0.002),
            (radius * 0.97, high * 0.05),
            (radius, high * 0.2),
            (radius * waist, high * 0.4),
            (radius, shoulder * 0.97),
            (radius * 0.9, shoulder + high * 0.05),
            (neck * 1.35, high * 0.89),
            (neck, high * 0.92),
            (neck, high),
        ],
        90,
    )
    ribs = np.sin(line[:, 1] / high * 2 * np.pi * dice.whole(6, 18)) * dice.between(0, 0.0014)
    line[:, 0] += ribs * (line[:, 1] < shoulder) * (line[:, 1] > high * 0.06)
    body = turned(
        np.concatenate([[(0, 0.012), (radius * 0.3, 0.009), (radius * 0.6, 0.001)], line]),
        sides=60,
        sharp=False,
    )
    petals = (
        0.0015
        * np.cos(5 * np.arctan2(body.v[:, 1], body.v[:, 0]))
        * np.clip(1 - body.v[:, 2] / (high * 0.06), 0, 1)
    )
    body = body.moved(np.stack([0 * petals, 0 * petals, petals], 1))
    look = _pet(dice)
    parts = [Part(body, look)]
    if dice.chance(0.5):
        low = high * dice.between(0.2, 0.4)
        band = _band(line[:, 0], line[:, 1], low, low + high * dice.between(0.12, 0.3))
        parts.append(
            Part(
                band,
                Material((1, 1, 1), print_label(dice, (2 * SIZE, SIZE)), roughness=0.3, gloss=1.1),
            )
        )
    if dice.chance(0.2):
        level = high * dice.between(0.1, 0.6)
        drink = line[line[:, 1] < level] - [0.001, 0]
        tint = dice.pick(
            (np.array([0.95, 0.96, 0.97]), dice.colour((0.02, 0.15), (0.5, 0.9), (0.3, 0.8)))
        )
        water = replace(look, clear=Clear(tint, haze=0.0, bend=0.16, rim=0.2, shade=0.3))
        if len(drink) > 3:
            parts.insert(
                0, Part(turned(np.concatenate([[(0, 0.004)], drink, [(0, level)]])), water)
            )
    crush = dice.chance(0.4)
    if crush:
        parts = crushed_parts(parts, dice, dice.between(0.1, 0.75), dice.between(1, 2.2))
    if dice.chance(0.65):
        cap = _cap(
            0.0155,
            high * 0.945,
            0.017,
            dice.pick((dice.grey(0.9, 0.98), dice.colour(strength=(0.6, 1)))),
        )
        if crush:
            places = parts[0].mesh.v[-61:]
            cap = Part(cap.mesh.moved(places.mean(0) - [0, 0, high]), cap.material)
        parts.append(cap)
    elif dice.chance(0.6):
        ring = turned([(0.0142, high * 0.93), (0.0142, high * 0.94)])
        parts.append(Part(ring, plastic(dice.colour(strength=(0.6, 1)))))
    return Item("clear_plastic_bottle", parts, ("lies", "stands"), "pet_bottle", (3, 2))


def opaque_bottle(dice: Dice) -> Item:
    """Milky or coloured bottle of detergent, milk or shampoo."""
    high = dice.between(0.12, 0.28)
    radius = high * dice.between(0.15, 0.23)
    neck = dice.between(0.011, 0.018)
    line = smooth_profile(
        [
            (radius * 0.9, 0.001),
            (radius, high * 0.06),
            (radius * dice.between(0.9, 1), high * 0.4),
            (radius, high * 0.62),
            (neck * 1.5, high * 0.86),
            (neck, high * 0.9),
            (neck, high * 0.95),
        ],
        50,
    )
    power, aspect = dice.pick((2.0, 2.0, 3.5, 6.0)), dice.pick((1.0, dice.between(0.5, 0.8)))
    body = turned(
        np.concatenate([[(0, 0.004), (radius * 0.8, 0.003)], line]),
        sides=64,
        power=power,
        aspect=aspect,
        sharp=False,
    )
    colour = dice.pick(
        (dice.grey(0.9, 0.98, 0.02), dice.colour(strength=(0.3, 0.95)), dice.grey(0.03, 0.2)),
        (4, 4, 1),
    )
    look = plastic(colour, dice.between(0.2, 0.5), through=0.15)
    parts = [Part(body, look)]
    if dice.chance(0.75):
        label = turned(
            np.stack(
                [
                    np.interp(np.linspace(0.15, 0.6, 12) * high, line[:, 1], line[:, 0]) + 0.0007,
                    np.linspace(0.15, 0.6, 12) * high,
                ],
                1,
            ),
            sides=64,
            power=power,
            aspect=aspect,
        )
        parts.append(
            Part(label, Material((1, 1, 1), print_label(dice, (2 * SIZE, SIZE)), roughness=0.35))
        )
    if dice.chance(0.25):
        parts = crushed_parts(parts, dice, dice.between(0.1, 0.6), 1.4)
    else:
        parts.append(
            _cap(
                neck * dice.between(1.15, 1.7),
                high * 0.9,
                high * dice.between(0.06, 0.14),
                dice.pick((colour, dice.grey(0.9, 0.98), dice.colour(strength=(0.5, 1)))),
            )
        )
    return Item("opaque_plastic_bottle", parts, ("stands", "lies"), "opaque_bottle", (3, 3))


def bottle_line(dice: Dice) -> np.ndarray:
    """Profile of a glass bottle, 70 points from the foot to the mouth."""
    high = dice.between_apart(0.17, 0.34)
    radius = high * dice.between(0.11, 0.18)
    neck, shoulder = dice.between(0.011, 0.016), dice.between(0.48, 0.68)
    return smooth_profile(
        [
            (radius * 0.95, 0.001),
            (radius, high * 0.04),
            (radius, high * 0.3),
            (radius, high * shoulder),
            (radius * 0.75, high * (shoulder + 0.09)),
            (neck * 1.15, high * (shoulder + 0.2)),
            (neck, high * 0.95),
            (neck * 1.2, high * 0.965),
            (neck * 1.2, high * 0.985),
            (neck, high),
        ],
        70,
    )


def _inner_wall(line: np.ndarray, dice: Dice) -> Mesh:
    """Inside of a wall of glass, which shows as a second line along the rims, over a thick foot."""
    thick = dice.between(0.0018, 0.0035)
    inside = line[line[:, 1] > 3 * thick] - [thick, 0]
    inside[:, 0] = np.maximum(inside[:, 0], 0.002)
    return turned(np.concatenate([[(0, 3 * thick)], inside]), sides=60, sharp=False)


def glass_bottle(dice: Dice) -> Item:
    """Bottle for wine, beer, oil or juice, with labels, foil or a cap at times."""
    line = bottle_line(dice)
    high, radius = line[-1, 1], line[20, 0]
    tint = glass_tint(dice)
    base = [(0, 0.015), (radius * 0.5, 0.009), (radius * 0.8, 0.001)]
    look = glass(dice, np.asarray(tint) ** 0.6)
    body = turned(np.concatenate([base, line]), sides=60, sharp=False)
    parts = [Part(body, look), Part(_inner_wall(line, dice), look)]
    for share, low, tall in ((0.6, 0.12, 0.25), (0.25, 0.72, 0.1)):
        if dice.chance(share):
            at = high * (low + dice.between(0, 0.05))
            ground = dice.pick((dice.grey(0.85, 0.97), dice.colour(strength=(0.2, 0.9))))
            band = _band(line[:, 0], line[:, 1], at, at + high * tall)
            if dice.chance(0.4):
                angle = np.arctan2(band.v[:, 1], band.v[:, 0])[band.f].mean(1)
                band = Mesh(
                    band.v,
                    band.uv,
                    band.f[np.abs(angle) < dice.between(1.0, 2.2)],
                    band.weld,
                )
            parts.append(
                Part(
                    band,
                    Material((1, 1, 1), print_label(dice, (2 * SIZE, SIZE), ground), roughness=0.6),
                )
            )
    if dice.chance(0.35):
        top = line[line[:, 1] > high * dice.between(0.72, 0.93)] + [0.0006, 0]
        sleeve = turned(np.concatenate([top, [(0, high + 0.001)]]))
        parts.append(
            Part(
                sleeve,
                metal(dice.pick((dice.grey(0.7, 0.9), dice.colour(strength=(0.3, 0.9)))), 0.3),
            )
        )
    return Item("glass_bottle", parts, ("lies", "stands"), "glass_bottle", (3, 3))


def jar(dice: Dice) -> Item:
    """Jar with or without lid, label and a rest of what it held."""
    high = dice.between_apart(0.06, 0.18)
    radius = high * dice.between(0.27, 0.5)
    mouth = radius * dice.between(0.72, 0.95)
    line = smooth_profile(
        [
            (radius * 0.93, 0.001),
            (radius, high * 0.06),
            (radius, high * 0.35),
            (radius, high * 0.7),
            (radius * 0.97, high * 0.8),
            (mouth, high * 0.88),
            (mouth, high),
        ],
        50,
    )
    tint = dice.pick((dice.grey(0.92, 0.99, 0.015), glass_tint(dice)), (5, 1))
    body = turned(
        np.concatenate([[(0, 0.005), (radius * 0.8, 0.003)], line]),
        sides=64,
        sharp=False,
        power=dice.pick((2.0, 2.0, 4.0)),
    )
    look = glass(dice, tint)
    parts = [Part(body, look), Part(_inner_wall(line, dice), look)]
    if dice.chance(0.3):
        filled = line[line[:, 1] < high * dice.between(0.2, 0.8)] - [0.003, 0]
        if len(filled) > 3:
            stuff = Material(
                dice.colour((0, 0.2), (0.4, 0.95), (0.2, 0.8)), roughness=0.4, mottle=0.3, grain=15
            )
            parts.append(Part(turned(np.concatenate([filled, [(0, filled[-1, 1])]])), stuff))
    if dice.chance(0.35):
        band = _band(line[:, 0], line[:, 1], high * 0.18, high * dice.between(0.5, 0.68))
        parts.append(
            Part(band, Material((1, 1, 1), print_label(dice, (2 * SIZE, SIZE)), roughness=0.5))
        )
    if dice.chance(0.5):
        parts.append(lid(mouth * 1.05, high * 0.9, high * 0.11 + 0.001, dice))
    return Item("glass_jar", parts, ("stands", "lies"), "jar", (4, 3))


def lid(radius: float, low: float, tall: float, dice: Dice) -> Part:
    """Twist-off lid of a jar."""
    line = [
        (radius, low),
        (radius, low + tall * 0.9),
        (radius * 0.95, low + tall),
        (radius * 0.85, low + tall * 0.97),
        (0, low + tall * 0.97),
    ]
    colour = dice.pick(
        (
            dice.grey(0.75, 0.95),
            dice.colour((0.1, 0.14), (0.4, 0.7), (0.6, 0.85)),
            dice.colour(strength=(0.4, 0.95)),
        )
    )
    return Part(
        turned(line),
        Material(colour, roughness=dice.between(0.2, 0.4), gloss=1.2, metal=dice.pick((0.0, 0.7))),
    )


MAKERS = {
    "pet_bottle": (pet_bottle, 3.0),
    "opaque_bottle": (opaque_bottle, 0.8),
    "glass_bottle": (glass_bottle, 2.0),
    "jar": (jar, 2.0),
}
