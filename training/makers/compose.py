"""Scenes: items on a floor, apart or touching, with wall, light and camera."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from training.makers.aim import aim
from training.makers.canvas import Camera, Placed, Scene, canvas, linear_mean
from training.makers.dice import Dice
from training.makers.floors import Floor, draw_floor
from training.makers.light import Light, draw_map, light_from
from training.makers.material import Item, Part
from training.makers.mesh import Mesh, grid, rotation, sheet
from training.makers.phone import photograph
from training.makers.pose import rested
from training.makers.wear import covers, weathered

MOST = 30  # items of one scene
_SEEN = 0.01  # share of a picture that items must take where something lies over them
_FEW = 2  # more are photographed from above


@dataclass(frozen=True, slots=True)
class Picture:
    """A finished picture, uint8 (size, size, 3), with what is to be seen on it.

    `numbers` is uint16 (size, size): i + 1 where `forms[i]` is in front, 0 elsewhere.
    """

    pixels: np.ndarray
    numbers: np.ndarray
    forms: tuple[str, ...]
    floor: str


@dataclass(frozen=True, slots=True)
class Place:
    """Where pictures are taken: a floor, the light over it, and all that can be seen around.

    `around` is the map of the light, linear (rows, columns, 3).
    """

    floor: Floor
    light: Light
    around: np.ndarray


def draw_place(dice: Dice, lights: Path | None = None) -> Place:
    """Draw a floor and a light, scanned in half of the draws if the folder `lights` has maps."""
    floor = draw_floor(dice)
    around = draw_map(dice, lights)
    return Place(floor, light_from(around, linear_mean(floor.texture)), around)


def compose(items: Sequence[Item], dice: Dice, place: Place, *, size: int = 320) -> Picture:
    """Lay 1 to 30 items on one floor, apart or touching, and photograph them.

    Raises
    ------
    ValueError
        No item, or more than 30.
    """
    if not 1 <= len(items) <= MOST:
        raise ValueError(f"{len(items)} items; a scene holds 1 to {MOST}")
    placed = _scattered([weathered(rested(item, dice), dice) for item in items], dice)
    camera = aim(placed, dice, steep=len(items) > _FEW)
    beside = surroundings(place.floor, camera, dice, placed)
    over = covers(placed, place.floor.kind, dice)
    pixels, numbers = shoot([*beside, *over, *placed], place, camera, dice, size)
    if over and (numbers > 0).mean() < _SEEN:
        pixels, numbers = shoot([*beside, *placed], place, camera, dice, size)
    return Picture(pixels, numbers, tuple(item.form for item in items), place.floor.kind)


def shoot(
    placed: list[Placed], place: Place, camera: Camera, dice: Dice, size: int
) -> tuple[np.ndarray, np.ndarray]:
    """Draw and photograph what lies at a place: pixels and numbers as in `Picture`."""
    scene = Scene(placed, place.light, camera, place.floor.texture, place.floor.tile)
    drawn, numbers = canvas(size).draw(scene)
    return photograph(drawn, place.light.on_floor(), size, dice), numbers


def _scattered(rested_items: Sequence[list[Part]], dice: Dice) -> list[Placed]:
    """Place items so that none lies in another; their circles may touch."""
    gap = dice.pick((0.0, 0.0, 0.02, 0.08))
    discs: list[tuple[np.ndarray, float]] = []
    placed: list[Placed] = []
    for number, parts in enumerate(rested_items, 1):
        places = np.concatenate([p.mesh.v for p in parts])
        radius = float(np.quantile(np.linalg.norm(places[:, :2], axis=1), 0.97))
        spot = _free_spot(discs, radius + gap, dice)
        discs.append((spot, radius + gap))
        for part in parts:
            placed.append(Placed(part.mesh.moved((*spot, 0)), part.material, number))
    return placed


def _free_spot(discs: list[tuple[np.ndarray, float]], radius: float, dice: Dice) -> np.ndarray:
    """Nearest of some free spots to the middle."""
    if not discs:
        return np.zeros(2)
    best, best_reach = np.zeros(2), float("inf")
    for _ in range(24):
        centre, other = dice.pick(discs)
        turn = dice.between(0, 2 * np.pi)
        spot = centre + (other + radius) * np.array([np.cos(turn), np.sin(turn)])
        free = all(np.linalg.norm(spot - c) >= 0.98 * (r + radius) for c, r in discs)
        if free and (reach := float(np.linalg.norm(spot))) < best_reach:
            best, best_reach = spot, reach
    if np.isinf(best_reach):
        turn = dice.between(0, 2 * np.pi)
        reach = max(float(np.linalg.norm(c)) + r for c, r in discs) + radius
        best = reach * np.array([np.cos(turn), np.sin(turn)])
    return best


def surroundings(
    floor: Floor, camera: Camera, dice: Dice, placed: Sequence[Placed] = ()
) -> list[Placed]:
    """Floor, at times with a second one beside it, and a wall behind."""
    ground = sheet(14, 14, 2, 2)
    spin = rotation((0, 0, 1), dice.between(0, 2 * np.pi))[:2, :2]
    ground.uv[:] = ground.v[:, :2] @ spin.T / floor.tile
    found = [Placed(ground, floor.material, floor=True)]
    ahead = (camera.target - camera.eye)[:2]
    ahead = ahead / max(np.linalg.norm(ahead), 1e-6)
    if dice.chance(0.12):
        found.append(_second_floor(camera, dice))
    if dice.chance(0.35):
        found += _wall(camera.target[:2], ahead, dice, placed)
    return found


def _second_floor(camera: Camera, dice: Dice) -> Placed:
    other = draw_floor(dice)
    turn = dice.between(0, 2 * np.pi)
    across = np.array([np.cos(turn), np.sin(turn)])
    start = camera.target[:2] + across * dice.between(0.05, 0.3)
    slab = sheet(7, 7, 2, 2).turned(rotation((0, 0, 1), turn))
    slab = slab.moved((*(start + across * 3.5), 0.0002))
    slab.uv[:] = slab.v[:, :2] / other.tile
    return Placed(slab, other.material, floor=True)


def _wall(
    centre: np.ndarray, ahead: np.ndarray, dice: Dice, placed: Sequence[Placed]
) -> list[Placed]:
    """Upright plane behind the items, facing the camera at a slant, often with a skirting."""
    look = draw_floor(dice, dice.pick(("plain", "plain", "board", "tiles", "table")))
    slant = rotation((0, 0, 1), dice.rng.normal(0, 0.35))[:2, :2]
    ahead = slant @ ahead
    side = np.array([ahead[1], -ahead[0]])
    ends = [float((p.mesh.v[:, :2] @ ahead).max() - centre @ ahead) for p in placed]
    gap = dice.pick((dice.between(0.01, 0.1), dice.between(0.05, 0.8)))
    foot = centre + ahead * (max(ends, default=0.1) + gap)
    parts = [Placed(_upright(foot, side, 0, 4, look.tile), look.material, floor=True)]
    if dice.chance(0.4):
        tall = dice.between(0.04, 0.12)
        skirting = _upright(foot - ahead * 0.012, side, 0, tall, 1.0)
        colour = dice.grey(0.3, 0.95)
        parts.append(
            Placed(skirting, replace(look.material, texture=None, colour=colour), floor=True)
        )
    return parts


def _upright(foot: np.ndarray, side: np.ndarray, low: float, high: float, tile: float) -> Mesh:
    ends = [foot - 6 * side, foot + 6 * side]
    wall = grid(np.array([[[*end, z] for end in ends] for z in (low, high)]))
    wall.uv[:] *= np.array([12, high - low]) / tile
    return wall
