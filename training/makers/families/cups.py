"""Cups of paper, plastic and foam, with lids and sleeves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Clear, Item, Material, Part, paper, plastic
from training.makers.mesh import Mesh, fine_profile, turned
from training.makers.prints import SIZE, print_label, stained
from training.makers.warps import crushed_parts

_POSES, _WEIGHTS = ("stands", "lies", "upside_down", "settles"), (5, 5, 1, 1)


def _shape(dice: Dice) -> tuple[float, float, float]:
    """Height, lower and upper radius, m."""
    high = dice.between_apart(0.055, 0.15)
    top = high * dice.between(0.33, 0.52)
    return high, top * dice.between(0.62, 0.85), top


def _wall(high: float, low: float, top: float, recess: float) -> tuple[Mesh, Mesh]:
    """Outside with the foot that stands under the bottom, and inside."""
    foot = low + (top - low) * recess / high
    outside = turned(
        fine_profile(
            [(0.0, recess), (foot - 0.001, recess), (low - 0.001, 0), (low, 0), (top, high)], 10
        )
    )
    inside = turned(
        fine_profile(
            [(0.0, recess + 0.001), (foot - 0.0012, recess + 0.001), (top - 0.0012, high)], 10
        )
    ).flipped()
    return outside, inside


def _rim(top: float, high: float, thick: float, curl: float = 1.0) -> Mesh:
    turn = np.linspace(-np.pi / 2, 1.5 * np.pi, 9)
    return turned(
        np.stack([top + thick * np.cos(turn), high + thick * curl * np.sin(turn)], 1), sharp=False
    )


def _maybe_crushed(parts: list[Part], dice: Dice, share: float, most: float) -> list[Part]:
    return crushed_parts(parts, dice, dice.between(0.1, most)) if dice.chance(share) else parts


def paper_cup(dice: Dice) -> Item:
    """Coated paper cup, plain or printed, with or without lid and sleeve, at times crushed."""
    high, low, top = _shape(dice)
    outside, inside = _wall(high, low, top, dice.between(0.004, 0.012))
    white = dice.grey(0.86, 0.97, 0.02)
    kraft = dice.colour((0.07, 0.1), (0.25, 0.45), (0.6, 0.75))
    ground = dice.pick((white, white, kraft, dice.colour(strength=(0.3, 0.9))))
    print_share = 0.6 if np.allclose(ground, white) else 0.3
    texture = None
    if dice.chance(print_share):
        texture = print_label(dice, (2 * SIZE, SIZE), ground)
    gloss = dice.between(0.25, 0.6)
    body = Material(
        (1, 1, 1) if texture is not None else ground, texture, roughness=gloss, bump=0.03
    )
    lining = paper(white, roughness=0.45, gloss=0.8)
    if dice.chance(0.35):
        lining = replace(
            lining,
            colour=(1, 1, 1),
            texture=stained(np.full((64, 64, 3), white * 255, np.uint8), dice, 0.7),
        )
    parts = [Part(outside, body), Part(inside, lining), Part(_rim(top, high, 0.0018), paper(white))]
    parts = _maybe_crushed(parts, dice, 0.25, 0.7)
    if dice.chance(0.3):
        parts.append(Part(_sleeve(high, low, top, dice), paper(kraft, bump=0.2)))
    if len(parts) == 3 and dice.chance(0.35):
        parts.append(
            Part(_lid(top, high, dice), plastic(dice.pick((white, dice.grey(0.03, 0.12), kraft))))
        )
    return Item("coated_paper", parts, _POSES, "paper_cup", _WEIGHTS)


def _sleeve(high: float, low: float, top: float, dice: Dice) -> Mesh:
    a, b = dice.between(0.15, 0.3), dice.between(0.6, 0.8)
    radius = [low + (top - low) * t + 0.0014 for t in (a, b)]
    return turned([(radius[0], a * high), (radius[1], b * high)])


def _lid(top: float, high: float, dice: Dice) -> Mesh:
    dome = dice.between(0.004, 0.016)
    profile = [
        (top + 0.002, high - 0.006),
        (top + 0.004, high),
        (top + 0.003, high + 0.004),
        (top - 0.002, high + 0.004),
        (top * 0.9, high + dome),
        (top * 0.82, high + dome),
        (top * 0.78, high + 0.002),
        (0, high + 0.002),
    ]
    return turned(profile)


def plastic_cup(dice: Dice) -> Item:
    """Clear, milky or coloured cup, ribbed or plain."""
    high, low, top = _shape(dice)
    rows = 40
    t = np.linspace(0, 1, rows)
    ribs = 0.0007 * np.sin(t * 2 * np.pi * dice.whole(4, 14)) * dice.pick((0, 1, 1))
    wall = np.stack([low + (top - low) * t + ribs, high * t], 1)
    bottom = [(0, 0.003), (low * 0.8, 0.003), (low * 0.9, 0.0)]
    skin = turned(np.concatenate([bottom, wall]))
    kind = dice.pick(("clear", "clear", "white", "coloured"))
    if kind == "clear":
        tint = dice.pick(
            (dice.grey(0.93, 0.99, 0.01), dice.colour(strength=(0.05, 0.4), value=(0.8, 1)))
        )
        look = plastic(
            dice.grey(0.85, 0.95),
            0.12,
            clear=Clear(tint, haze=dice.pick((0.02, 0.06, 0.3)), bend=0.05, rim=0.35, shade=0.2),
        )
        parts = [Part(skin, look), Part(_rim(top, high, 0.0015), look)]
    else:
        colour = dice.grey(0.85, 0.97) if kind == "white" else dice.colour(strength=(0.4, 0.95))
        look = plastic(colour, dice.between(0.2, 0.45), through=0.25)
        parts = [Part(skin, look), Part(_rim(top, high, 0.0016), look)]
    parts = _maybe_crushed(parts, dice, 0.25, 0.6)
    return Item("plastic_tub_tray", parts, _POSES, "plastic_cup", _WEIGHTS)


def foam_cup(dice: Dice) -> Item:
    """Cup of white foam with a thick wall."""
    high, low, top = _shape(dice)
    thick = dice.between(0.002, 0.0035)
    profile = [
        (0, 0.004),
        (low - 0.004, 0.004),
        (low - 0.003, 0),
        (low, 0.001),
        (top - 0.001, high - 0.008),
        (top + 0.002, high - 0.006),
        (top + 0.002, high),
        (top - thick, high),
        (low - thick, 0.008),
        (0, 0.008),
    ]
    skin = turned(fine_profile(profile, 5))
    look = Material(
        dice.grey(0.88, 0.98, 0.02),
        roughness=0.7,
        gloss=0.4,
        relief="cells",
        bump=0.12,
        grain=22,
        mottle=0.06,
        through=0.15,
    )
    parts = [Part(skin, look)]
    if dice.chance(0.15):
        parts = _maybe_crushed(parts, dice, 1, 0.3)
    return Item("plastic_foam", parts, _POSES, "foam_cup", _WEIGHTS)


MAKERS = {
    "paper_cup": (paper_cup, 3.0),
    "plastic_cup": (plastic_cup, 1.5),
    "foam_cup": (foam_cup, 1.0),
}
