"""How an item comes to rest on the floor."""

from __future__ import annotations

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from training.makers.dice import Dice
from training.makers.material import Item, Part
from training.makers.mesh import rotation

_HULL_POINTS = 400


def rested(item: Item, dice: Dice) -> list[Part]:
    """Lay an item on the floor in one of its poses, turned about at random; centre at (0, 0)."""
    pose = dice.pick(item.poses, item.weights)
    turn = _POSES[pose](item, dice)
    turn = rotation((0, 0, 1), dice.between(0, 2 * np.pi)) @ turn
    parts = [Part(p.mesh.turned(turn), p.material) for p in item.parts]
    places = np.concatenate([p.mesh.v for p in parts])
    low, high = places.min(0), places.max(0)
    shift = -(low + high) / 2
    shift[2] = -low[2] - item.sink + 0.0004
    return [Part(p.mesh.moved(shift), p.material) for p in parts]


def _stands(_item: Item, _dice: Dice) -> np.ndarray:
    return np.eye(3)


def _upside_down(_item: Item, _dice: Dice) -> np.ndarray:
    return rotation((1, 0, 0), np.pi)


def _settled(item: Item, dice: Dice) -> np.ndarray:
    """Turn one stable face of the convex hull down, large ones more often."""
    points = np.concatenate([p.mesh.v for p in item.parts]).astype(float)
    if len(points) > _HULL_POINTS:
        points = points[dice.rng.choice(len(points), _HULL_POINTS, replace=False)]
    points = points + dice.rng.normal(size=points.shape) * np.ptp(points, axis=0).max() * 1e-4
    try:
        hull = ConvexHull(points)
    except QhullError:
        return np.eye(3)
    centre = points[hull.vertices].mean(0)
    a, b, c = (points[hull.simplices[:, i]] for i in range(3))
    normals = hull.equations[:, :3]
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    depth = -(hull.equations[:, 3] + normals @ centre)
    foot = centre + depth[:, None] * normals
    middle, reach = (a + b + c) / 3, np.sqrt(area)
    stable = np.linalg.norm(foot - middle, axis=1) < reach * 1.2
    weight = area / np.maximum(depth, 1e-4) * np.where(stable, 1.0, 0.02)
    return facing_down(normals[int(dice.rng.choice(len(weight), p=weight / weight.sum()))])


def facing_down(normal: np.ndarray) -> np.ndarray:
    """Rotation that turns a unit vector straight down."""
    axis = np.cross(normal, [0.0, 0.0, -1.0])
    if np.linalg.norm(axis) < 1e-6:
        return np.eye(3) if normal[2] < 0 else rotation((1, 0, 0), np.pi)
    return rotation(axis, float(np.arccos(np.clip(-normal[2], -1, 1))))


def _lies(item: Item, dice: Dice) -> np.ndarray:
    """Lie on the side: the axis level, or inclined as a cone rolls."""
    roll = rotation((0, 0, 1), dice.between(0, 2 * np.pi))
    laid = rotation((0, 1, 0), np.pi / 2) @ roll
    points = np.concatenate([p.mesh.v for p in item.parts]).astype(float) @ laid.T
    middle = np.median(points[:, 0])
    ends = [points[points[:, 0] < middle], points[points[:, 0] >= middle]]
    low = [e[np.argmin(e[:, 2])] for e in ends]
    slope = np.arctan2(low[1][2] - low[0][2], max(low[1][0] - low[0][0], 1e-4))
    return rotation((0, 1, 0), slope) @ laid


_POSES = {
    "stands": _stands,
    "upside_down": _upside_down,
    "lies": _lies,
    "settles": _settled,
}
