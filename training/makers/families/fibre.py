"""Egg cartons, trays and cup carriers of moulded fibre."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import gaussian_filter

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part
from training.makers.mesh import Mesh, grid, rotation
from training.makers.prints import print_label
from training.makers.warps import crushed_parts

FORM = "moulded_fibre"


def _look(dice: Dice) -> Material:
    grey = dice.grey(0.42, 0.78, 0.03)
    tinted = dice.colour((0, 1), (0.08, 0.3), (0.45, 0.75))
    brown = dice.colour((0.07, 0.1), (0.2, 0.4), (0.5, 0.7))
    return Material(
        dice.pick((grey, grey, brown, tinted), (6, 2, 2, 1)),
        roughness=0.97,
        gloss=0.15,
        relief=dice.pick(("fibre", "fractal")),
        bump=dice.between(0.12, 0.4),
        grain=dice.between(9, 20),
        mottle=dice.between(0.08, 0.3),
    )


def _field(width: float, depth: float, step: float = 0.0022) -> tuple[np.ndarray, np.ndarray]:
    columns, rows = int(width / step), int(depth / step)
    y, x = np.mgrid[-depth / 2 : depth / 2 : rows * 1j, -width / 2 : width / 2 : columns * 1j]
    return x, y


def _surface(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> Mesh:
    return grid(np.stack([x, y, z], 2))


def _cups(
    x: np.ndarray, y: np.ndarray, pitch: float, rows: int, columns: int, deep: float, dice: Dice
) -> np.ndarray:
    """Heights of a tray of cups with posts between them, the floor of the cups at 0."""
    u = x / pitch + (columns % 2 == 0) * 0.5
    v = y / pitch + (rows % 2 == 0) * 0.5
    du, dv = (u - np.round(u)) * 2, (v - np.round(v)) * 2
    r = np.hypot(du, dv)
    cup = np.clip((r - 0.42) / 0.62, 0, 1) ** dice.between(0.8, 1.3)
    post = np.clip((np.minimum(np.abs(du), np.abs(dv)) - 0.45) / 0.5, 0, 1)
    edge = 0.62 + 0.1 * np.cos(du * np.pi) * np.cos(dv * np.pi)
    high = deep * (edge * cup + dice.between(0.25, 0.6) * post)
    outside = np.maximum(
        np.abs(x) - columns * pitch / 2 + 0.002, np.abs(y) - rows * pitch / 2 + 0.002
    )
    rim = np.clip(outside / 0.004, 0, 1)
    high = high * (1 - rim) + deep * 0.72 * rim
    return gaussian_filter(high, 1.0)


def _lid(
    x: np.ndarray, y: np.ndarray, half: tuple[float, float], deep: float, pitch: float, dice: Dice
) -> np.ndarray:
    """Heights of a closed lid: sloping walls, a flat or bumpy roof, often with a label's panel."""
    gap = np.minimum((half[0] - np.abs(x)) / 0.016, (half[1] - np.abs(y)) / 0.016)
    high = deep * np.clip(gap, 0, 1)
    kind = dice.pick(("flat", "bumps", "ridge"))
    if kind == "bumps":
        high = high * (
            0.88
            + 0.12 * np.cos(2 * np.pi * x / pitch + np.pi) * np.cos(2 * np.pi * y / pitch + np.pi)
        )
    elif kind == "ridge":
        high = high * (0.86 + 0.14 * np.abs(np.cos(np.pi * x / pitch)))
    return gaussian_filter(high, 1.2)


def egg_carton(dice: Dice) -> Item:
    """Egg carton of 4 to 18: closed, open at any angle, the tray alone, or a torn piece."""
    rows, columns = dice.pick(((2, 3), (2, 5), (2, 6), (2, 2), (3, 6), (2, 4)), (4, 4, 3, 1, 1, 1))
    pitch, deep = dice.between(0.044, 0.05), dice.between_apart(0.03, 0.045)
    look = _look(dice)
    width, depth = columns * pitch + 0.012, rows * pitch + 0.012
    x, y = _field(width, depth)
    tray = _surface(x, y, _cups(x, y, pitch, rows, columns, deep, dice))
    state = dice.pick(("open", "closed", "tray", "lid"), (5, 4, 3, 1))
    parts = [] if state == "lid" else [Part(tray, look)]
    if state in ("open", "closed", "lid"):
        lid_high = dice.between(0.022, 0.034)
        roof = _surface(x, y, _lid(x, y, (width / 2, depth / 2), lid_high, pitch, dice))
        if dice.chance(0.35):
            parts_label = _label(width, depth, lid_high, dice)
        else:
            parts_label = []
        opening = {"closed": dice.between(0, 0.06), "lid": 0.0, "open": dice.between(1.2, 3.3)}[
            state
        ]
        hinge = np.array([0, depth / 2, deep * 0.74])
        turn = rotation((1, 0, 0), -opening)
        for part in (Part(roof, look), *parts_label):
            raised = part.mesh.moved((0, -depth / 2, 0.0)).turned(turn).moved(hinge)
            parts.append(Part(raised, part.material))
    if dice.chance(0.3):
        parts = crushed_parts(parts, dice, dice.between(0.04, 0.3), 1.5)
    poses = ("stands", "settles") if state == "open" else ("stands", "upside_down", "settles")
    return Item(FORM, parts, poses, "egg_carton", (6, 1) if state == "open" else (5, 2, 1))


def _label(width: float, depth: float, high: float, dice: Dice) -> list[Part]:
    w, d = width * dice.between(0.4, 0.85), depth * dice.between(0.4, 0.7)
    y, x = np.mgrid[-d / 2 : d / 2 : 8j, -w / 2 : w / 2 : 8j]
    flat = grid(np.stack([x, y, np.full_like(x, high + 0.0012)], 2))
    return [Part(flat, Material((1, 1, 1), print_label(dice), roughness=0.8, gloss=0.3))]


def egg_tray(dice: Dice) -> Item:
    """Square tray of 12 to 30 cups without a lid, whole or a piece."""
    rows, columns = dice.pick(((5, 6), (4, 5), (3, 4), (5, 5), (3, 3)))
    pitch, deep = dice.between(0.044, 0.05), dice.between(0.03, 0.045)
    x, y = _field(columns * pitch, rows * pitch, 0.003)
    high = _cups(x, y, pitch, rows, columns, deep, dice)
    parts = [Part(_surface(x, y, high), _look(dice))]
    if dice.chance(0.3):
        parts = crushed_parts(parts, dice, dice.between(0.03, 0.2), 1.5)
    return Item(FORM, parts, ("stands", "upside_down", "settles"), "egg_tray", (4, 2, 1))


def fibre_tray(dice: Dice) -> Item:
    """Food tray, bowl or cup carrier."""
    carrier = dice.chance(0.5)
    width = dice.between(0.12, 0.24)
    depth = width * (1.0 if carrier else dice.between(0.5, 1.0))
    x, y = _field(width, depth, 0.003)
    deep = dice.between(0.025, 0.05)
    if carrier:
        pitch = width / 2
        u, v = (np.abs(x) - pitch / 2) / pitch * 2, (np.abs(y) - pitch / 2) / pitch * 2
        r = np.hypot(u, v)
        high = deep * np.clip((r - 0.45) / 0.18, 0, 1) + 0.2 * deep * np.clip(
            1 - np.abs(x) / 0.02, 0, 1
        )
    else:
        power = dice.pick((2.0, 4.0, 8.0))
        r = (np.abs(2 * x / width) ** power + np.abs(2 * y / depth) ** power) ** (1 / power)
        high = deep * np.clip((r - 0.62) / 0.25, 0, 1)
        inside = r < 1.04
        high = np.where(inside, high, np.nan)
    high = np.where(np.isnan(high), np.nan, gaussian_filter(np.nan_to_num(high, nan=deep), 1.5))
    made = _surface(x, y, np.nan_to_num(high, nan=deep))
    kept = ~np.isnan(high.ravel())[made.f].any(1)
    made = Mesh(made.v, made.uv, made.f[kept])
    parts = [Part(made, _look(dice))]
    if dice.chance(0.2):
        parts = crushed_parts(parts, dice, dice.between(0.03, 0.2), 1.5)
    return Item(FORM, parts, ("stands", "upside_down"), "fibre_tray", (4, 1))


MAKERS = {
    "egg_carton": (egg_carton, 4.0),
    "egg_tray": (egg_tray, 1.5),
    "fibre_tray": (fibre_tray, 1.0),
}
