"""Pictures without an item: floors, cloths, furniture, rooms, hands and feet, shadows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.ndimage import map_coordinates

from training.makers.aim import aim
from training.makers.canvas import Camera, Placed
from training.makers.compose import Picture, Place, shoot, surroundings
from training.makers.dice import Dice
from training.makers.floors import draw_floor
from training.makers.light import HEIGHT, WIDTH
from training.makers.material import Material, plastic
from training.makers.mesh import Mesh, ball, box, merge, rotation, sheet, tube
from training.makers.phone import photograph
from training.makers.warps import rippled, soft_folds

Photograph = Callable[[Dice, Place, int], Picture]


def _look_down(dice: Dice) -> Camera:
    """Camera over a bare floor."""
    height, turn = np.radians(dice.between(14, 88)), dice.between(0, 2 * np.pi)
    towards = [np.cos(height) * np.cos(turn), np.cos(height) * np.sin(turn), np.sin(height)]
    target = np.array([0, 0, dice.between(0, 0.1)])
    eye = target + dice.between(0.25, 1.8) * np.array(towards)
    return Camera(eye, target, dice.between(35, 70), dice.rng.normal(0, 6))


def _picture(placed: list[Placed], place: Place, camera: Camera, dice: Dice, size: int) -> Picture:
    everything = [*surroundings(place.floor, camera, dice), *placed]
    pixels, numbers = shoot(everything, place, camera, dice, size)
    return Picture(pixels, numbers, (), place.floor.kind)


def bare_floor(dice: Dice, place: Place, size: int) -> Picture:
    """Floor or table alone, at times with the shadow of somebody who bends over it."""
    placed = []
    if dice.chance(0.5):
        away = place.light.towards * dice.between(0.5, 1.2)
        body = ball(1.0, 3).scaled((dice.between(0.1, 0.3), dice.between(0.1, 0.4), 0.1))
        arm = tube(np.array([[0, 0, 0], [dice.between(-0.4, 0.4), 0.3, 0]]), 0.05)
        shift = away + np.array([*dice.rng.normal(0, 0.15, 2), 0])
        placed = [Placed(merge([body, arm]).moved(shift), Material((0.2, 0.2, 0.2)))]
    return _picture(placed, place, _look_down(dice), dice, size)


def cloth(dice: Dice, place: Place, size: int) -> Picture:
    """Sheet, cover or towel with folds that fills the picture."""
    look = draw_floor(dice, dice.pick(("cloth", "checked", "stripes", "plain")))
    wide = dice.between(0.7, 1.6)
    made = soft_folds(sheet(wide, wide, 110, 110), dice, dice.between(0.05, 0.6))
    made.uv[:] = made.uv * wide / look.tile
    camera = _look_down(dice)
    reach = np.linalg.norm(camera.eye - camera.target)
    near = camera.target + (camera.eye - camera.target) * min(1.0, 0.45 * wide / reach)
    near[2] = max(near[2], 0.3 * wide)
    return _picture([Placed(made, look.material)], place, replace(camera, eye=near), dice, size)


def furniture(dice: Dice, place: Place, size: int) -> Picture:
    """Legs, cupboards, skirtings, cables and thresholds on a floor."""
    placed = []
    for _ in range(dice.whole(1, 4)):
        x, y = dice.rng.normal(0, 0.5, 2)
        kind = dice.pick(("cupboard", "leg", "leg", "cable", "bar"))
        look = dice.pick((draw_floor(dice, "table").material, plastic(dice.grey(0.05, 0.95))))
        if kind == "cupboard":
            mesh = box(dice.between(0.3, 0.9), dice.between(0.3, 0.6), dice.between(0.3, 1.5))
        elif kind == "leg":
            w = dice.between(0.02, 0.06)
            mesh = (
                box(w, w, 0.9)
                if dice.chance(0.5)
                else tube(np.array([[0, 0, 0], [dice.rng.normal(0, 0.1), 0, 0.9]]), w / 2)
            )
        elif kind == "cable":
            t = np.linspace(-1, 1, 60)
            path = np.stack([t, 0.12 * np.sin(dice.between(1, 4) * t), 0.004 + 0 * t], 1)
            mesh, look = (
                tube(path, dice.between(0.002, 0.004), sides=8),
                plastic(dice.grey(0.03, 0.95), 0.4),
            )
        else:
            mesh = box(2.0, dice.between(0.03, 0.08), dice.between(0.004, 0.015))
        turn = rotation((0, 0, 1), dice.between(0, 2 * np.pi))
        placed.append(Placed(mesh.turned(turn).moved((x, y, 0)), look))
    return _picture(placed, place, _look_down(dice), dice, size)


def _skin(dice: Dice) -> Material:
    colour = dice.colour((0.03, 0.08), (0.3, 0.6), (0.25, 0.9))
    return Material(colour, roughness=0.5, gloss=0.7, bump=0.08, grain=35, mottle=0.1, through=0.05)


def _limb(points: list[list[float]], radii: list[float]) -> Mesh:
    """Rod through a few points with rounded end."""
    t = np.linspace(0, 1, len(points))
    fine = np.linspace(0, 1, 24)
    path = np.stack([np.interp(fine, t, np.asarray(points)[:, k]) for k in range(3)], 1)
    return merge([tube(path, np.interp(fine, t, radii)), ball(radii[-1], 3).moved(points[-1])])


def _hand(dice: Dice) -> list[tuple[Mesh, str]]:
    """Hand with forearm, fingers more or less bent, palm down; the arm leaves along -x."""
    palm = ball(1.0, 4).scaled((0.05, 0.042, 0.016)).moved((0, 0, 0.018))
    bend, spread = dice.between(0, 1.3), dice.between(0.05, 0.35)
    parts = [palm]
    for i, long in enumerate((0.07, 0.08, 0.075, 0.06)):
        y, turn = 0.03 - 0.02 * i, spread * (1.5 - i) * 0.5
        base = np.array([0.042, y, 0.02])
        along = np.array([np.cos(turn), np.sin(turn), 0])
        tip = base + long * (along * np.cos(bend * 0.8) + [0, 0, -0.25 * np.sin(bend)])
        middle = base + long * 0.5 * along + [0, 0, 0.012 * np.sin(bend)]
        parts.append(_limb([list(base), list(middle), list(tip)], [0.0095, 0.009, 0.0072]))
    parts.append(
        _limb(
            [[-0.02, 0.035, 0.018], [0.02, 0.062, 0.018], [0.048, 0.07, 0.016]],
            [0.013, 0.011, 0.009],
        )
    )
    wrist = _limb([[-0.045, 0, 0.022], [-0.12, 0, 0.035]], [0.027, 0.03])
    sleeve = tube(np.array([[-0.1 - dice.between(0, 0.06), 0, 0.032], [-0.5, 0, 0.1]]), 0.042)
    return [(merge([*parts, wrist]), "skin"), (rippled(sleeve, dice, 0.006, 30), "cloth")]


def _foot(dice: Dice) -> list[tuple[Mesh, str]]:
    """Bare foot with its leg."""
    sole = ball(1.0, 4).scaled((0.085, 0.036, 0.03)).moved((0.03, 0, 0.027))
    heel = ball(1.0, 4).scaled((0.04, 0.032, 0.035)).moved((-0.055, 0, 0.032))
    leg = _limb([[-0.04, 0, 0.05], [-0.04, 0, 0.12], [-0.06, 0, 0.45]], [0.036, 0.036, 0.055])
    toes = [
        ball(r, 3).moved((0.112 - 0.008 * i**1.4, 0.024 - 0.0145 * i, r))
        for i, r in enumerate((0.0135, 0.0105, 0.0095, 0.009, 0.008))
    ]
    trousers = tube(np.array([[-0.05, 0, 0.12 + dice.between(0, 0.15)], [-0.08, 0, 0.6]]), 0.075)
    return [(merge([sole, heel, leg, *toes]), "skin"), (rippled(trousers, dice, 0.01, 20), "cloth")]


def body_parts(dice: Dice, place: Place, size: int) -> Picture:
    """One or two hands or feet over the floor."""
    make = dice.pick((_hand, _hand, _foot))
    skin, sleeve = _skin(dice), draw_floor(dice, dice.pick(("cloth", "checked", "plain"))).material
    turn = dice.between(0, 2 * np.pi)
    placed, near = [], []
    for side in range(dice.pick((1, 1, 2))):
        for mesh, kind in make(dice):
            mirror = mesh if side == 0 else mesh.scaled((1, -1, 1)).flipped()
            spin = rotation((0, 0, 1), turn + dice.rng.normal(0, 0.2))
            high = dice.between(0, 0.1) if make is _hand and dice.chance(0.3) else 0.0
            shift = spin @ np.array([0, 0.13 * side, high])
            laid = Placed(mirror.turned(spin).moved(shift), skin if kind == "skin" else sleeve)
            placed.append(laid)
            if kind == "skin":
                near.append(laid)
    return _picture(placed, place, aim(near, dice), dice, size)


def room(dice: Dice, place: Place, size: int) -> Picture:
    """What is seen around: the map of the light itself, as a camera would see it."""
    if np.mean(np.diff(place.around[..., 0], axis=1) != 0) < 0.5:  # by rule: too plain to be seen
        return inside(dice, place, size)
    view, yaw = np.tan(np.radians(dice.between(50, 100)) / 2), dice.between(-np.pi, np.pi)
    pitch, roll = dice.rng.normal(-0.05, 0.22), dice.rng.normal(0, 0.05)
    fine = int(size * 1.25)
    y, x = np.mgrid[view : -view : fine * 1j, -view : view : fine * 1j]
    turn = rotation((0, 0, 1), yaw) @ rotation((0, 1, 0), -pitch) @ rotation((1, 0, 0), roll)
    rays = np.stack([np.ones_like(x), -x, y], 2) @ turn.T
    rays /= np.linalg.norm(rays, axis=2, keepdims=True)
    rows = np.arccos(np.clip(rays[..., 2], -1, 1)) / np.pi * HEIGHT - 0.5
    columns = (np.arctan2(rays[..., 1], rays[..., 0]) / (2 * np.pi) + 0.5) * WIDTH - 0.5
    seen = [
        map_coordinates(place.around[..., band], (rows, columns % WIDTH), order=1, mode="nearest")
        for band in range(3)
    ]
    pixels = photograph(np.stack(seen, 2).astype(np.float32), place.light.on_floor(), size, dice)
    return Picture(pixels, np.zeros((size, size), np.uint16), (), "room")


def inside(dice: Dice, place: Place, size: int) -> Picture:
    """Room by rule: floor, walls, door, cupboards and a table, seen from standing height."""
    turn = dice.between(0, 2 * np.pi)
    eye = np.array([0, 0, dice.between(0.9, 1.7)])
    ahead = np.array([np.cos(turn), np.sin(turn), dice.between(-0.5, 0.05)])
    camera = Camera(eye, eye + ahead, dice.between(50, 75), dice.rng.normal(0, 4))
    spin = rotation((0, 0, 1), turn)
    paint = draw_floor(dice, dice.pick(("plain", "board"))).material
    placed = []
    for angle in (0, np.pi / 2, -np.pi / 2):
        wall = (
            box(0.1, 12, 2.6)
            .moved((dice.between(1.8, 3.5), 0, 0))
            .turned(rotation((0, 0, 1), angle))
        )
        placed.append(Placed(wall.turned(spin), paint))
    for _ in range(dice.whole(2, 6)):
        kind = dice.pick(("table", "plain", "planks"))
        w, d, h = dice.between(0.3, 1.2), dice.between(0.3, 0.7), dice.pick((0.45, 0.8, 2.0))
        mesh = box(w, d, h).turned(rotation((0, 0, 1), dice.rng.normal(0, 0.2)))
        mesh = mesh.moved((dice.between(0.9, 2.6), dice.between(-1.6, 1.6), 0)).turned(spin)
        placed.append(Placed(mesh, draw_floor(dice, kind).material))
    return _picture(placed, place, camera, dice, size)


EMPTY: dict[str, tuple[Photograph, float]] = {
    "bare_floor": (bare_floor, 3.0),
    "rumpled_cloth": (cloth, 1.5),
    "furniture": (furniture, 2.5),
    "body_parts": (body_parts, 2.0),
    "room": (room, 1.5),
    "inside": (inside, 1.0),
}
