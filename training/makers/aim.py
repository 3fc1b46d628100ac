"""Where the camera is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from training.makers.canvas import Camera, Placed
from training.makers.dice import Dice

_POINTS = 3000
_SLENDER = 0.2  # short over long side of what is seen, below which the camera comes nearer


def aim(placed: Sequence[Placed], dice: Dice, *, steep: bool = False) -> Camera:
    """Hold a camera so that the items take 35 to 110 % of the picture's side.

    Heights are 18 to 88 degrees above the floor; `steep` keeps to 45 and more and to large views.
    """
    places = np.concatenate([p.mesh.v for p in placed]).astype(float)
    if len(places) > _POINTS:
        places = places[:: len(places) // _POINTS]
    centre = (places.min(0) + places.max(0)) / 2
    towards, fill = _direction(dice, steep), _fill(dice, steep)
    view, roll = dice.between(26, 68), dice.rng.normal(0, 5)
    half = np.tan(np.radians(view) / 2)
    radius = float(np.linalg.norm(places - centre, axis=1).max())
    distance = 2.2 * radius / half
    camera = Camera(centre + distance * towards, centre, view, roll)
    for _ in range(3):
        shown = project(camera, places)
        sides = np.linalg.svd(shown - shown.mean(0), compute_uv=False)
        fill = max(fill, 0.8) if sides[1] < _SLENDER * sides[0] else fill
        extent = float(np.ptp(shown, axis=0).max()) / 2
        distance = max(distance * extent / fill, radius * 1.15 + 0.03)
        camera = Camera(centre + distance * towards, centre, view, roll)
    right, up, _ = camera.axes()
    slack = max(0.05, 1 - fill) * distance * half
    shift = slack * (dice.between(-0.8, 0.8) * right + dice.between(-0.8, 0.8) * up)
    eye = camera.eye + shift
    eye[2] = max(eye[2], 0.015)
    return replace(camera, eye=eye, target=camera.target + shift)


def _direction(dice: Dice, steep: bool) -> np.ndarray:
    any_height = ((45, 88), (65, 88)) if steep else ((18, 88), (30, 70), (55, 88))
    height, turn = np.radians(dice.between(*dice.pick(any_height))), dice.between(0, 2 * np.pi)
    level = np.cos(height)
    return np.array([level * np.cos(turn), level * np.sin(turn), np.sin(height)])


def _fill(dice: Dice, steep: bool) -> float:
    if steep:
        return dice.between(0.7, 1.05)
    return dice.between(*dice.pick(((0.35, 0.7), (0.6, 0.95), (0.9, 1.1)), (3, 5, 1)))


def project(camera: Camera, places: np.ndarray) -> np.ndarray:
    """Clip coordinates (n, 2), -1 to 1 inside the picture, of places (n, 3)."""
    clip = np.concatenate([places, np.ones((len(places), 1))], 1) @ camera.matrix().T
    return clip[:, :2] / np.maximum(clip[:, 3:], 1e-4)
