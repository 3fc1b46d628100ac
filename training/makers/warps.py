"""Ways in which things lose their shape: crushed, bent, crumpled, rippled."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Part
from training.makers.mesh import Mesh, ball, merge
from training.makers.noise import creases, smooth_noise


def bent(mesh: Mesh, dice: Dice, degrees: float) -> Mesh:
    """Bend a mesh along x about a level axis, by this much over its length."""
    angle = np.radians(degrees)
    if abs(angle) < 1e-3:
        return mesh
    low, high = mesh.v[:, 0].min(), mesh.v[:, 0].max()
    radius = (high - low) / angle

    def change(v: np.ndarray) -> np.ndarray:
        turn = (v[:, 0] - (low + high) / 2) / radius
        reach = radius - v[:, 2]
        return np.stack([reach * np.sin(turn), v[:, 1], radius - reach * np.cos(turn)], 1)

    return mesh.warped(change)


def crushed(mesh: Mesh, dice: Dice, amount: float, *, frequency: float = 1.0) -> Mesh:
    """Dent and squeeze a hollow body; `amount` 0 to 1, `frequency` dents along its length."""
    if amount <= 0:
        return mesh
    extent = np.ptp(mesh.v, axis=0)
    scale = float(extent.max())
    points = mesh.v / scale
    axis = dice.rng.normal(size=3) * [1, 1, 0.15]
    axis /= np.linalg.norm(axis)
    fold = np.clip(creases(points, dice.rng, frequency=2.2 * frequency, count=6), -1, 1)
    soft = smooth_noise(points, dice.rng, frequency=2.0 * frequency, octaves=2)
    along = mesh.v @ axis
    pressed = (
        mesh.v
        - np.outer(along - along.mean(), axis)
        * np.clip(amount * (0.55 + 0.5 * soft), 0, 0.9)[:, None]
    )
    shift = [smooth_noise(points, dice.rng, frequency=2.5 * frequency, octaves=2) for _ in range(3)]
    pressed = pressed + amount * 0.05 * scale * np.stack(shift, 1)
    outward = mesh.v - mesh.v.mean(0)
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-6)
    inward = outward * (amount * 0.035 * scale * fold)[:, None]
    return Mesh((pressed + inward).astype(np.float32), mesh.uv, mesh.f, mesh.weld)


def crushed_parts(
    parts: list[Part], dice: Dice, amount: float, frequency: float = 1.0
) -> list[Part]:
    """Crush several parts as one body, so that they stay together."""
    whole = crushed(merge([p.mesh for p in parts]), dice, amount, frequency=frequency)
    ends = np.cumsum([len(p.mesh.v) for p in parts])
    pieces = np.split(whole.v, ends[:-1])
    return [
        Part(Mesh(v, p.mesh.uv, p.mesh.f, p.mesh.weld), p.material)
        for v, p in zip(pieces, parts, strict=True)
    ]


def crumpled_sheet(mesh: Mesh, dice: Dice, amount: float, *, scale: float = 0.2) -> Mesh:
    """Crease a flat sheet; `amount` is the height of its folds over `scale`, their distance, m."""
    points = mesh.v / scale
    coarse = creases(points, dice.rng, frequency=0.9, count=6)
    fine = creases(points, dice.rng, frequency=2.6, count=8)
    wave = smooth_noise(points, dice.rng, frequency=0.8, octaves=2)
    high = scale * amount * (0.5 * coarse + 0.2 * fine + 0.6 * wave)
    pull = [smooth_noise(points, dice.rng, frequency=1.2, octaves=2) for _ in range(2)]
    shift = np.stack([pull[0] * 0.35 * amount * scale, pull[1] * 0.35 * amount * scale, high], 1)
    return mesh.moved(shift - [0, 0, shift[:, 2].min()])


def crumpled_ball(dice: Dice, radius: float, *, depth: float = 0.35, levels: int = 5) -> Mesh:
    """Sheet pressed into a ball: facets, deep folds and corners."""
    sphere = ball(1.0, levels)
    soft = smooth_noise(sphere.v, dice.rng, frequency=1.4, octaves=2)
    coarse = creases(sphere.v, dice.rng, frequency=0.8, count=7, bend=0.5)
    fine = creases(sphere.v, dice.rng, frequency=2.2, count=9, bend=0.5)
    folds = np.abs(creases(sphere.v, dice.rng, frequency=1.3, count=4, bend=0.6))
    r = 1 + depth * (0.5 * soft + 0.45 * coarse + 0.22 * fine - 0.5 * np.exp(-folds * 9))
    made = sphere.scaled(1.0).warped(lambda v: v * r[:, None] * radius)
    stretch = [dice.between(0.75, 1.2), dice.between(0.75, 1.2), dice.between(0.6, 1.0)]
    return made.scaled(stretch)


def soft_folds(mesh: Mesh, dice: Dice, amount: float) -> Mesh:
    """Rounded ridges that run together, as in cloth and soft paper."""
    span = float(np.ptp(mesh.v, axis=0).max())
    points = mesh.v / span
    field = smooth_noise(points, dice.rng, frequency=3.0, octaves=2)
    other = smooth_noise(points, dice.rng, frequency=5.0, octaves=2)
    ridges = (1 - np.abs(field) * 2.2).clip(-0.5, 1) + 0.4 * (1 - np.abs(other) * 2.2).clip(-0.5, 1)
    pull = [
        smooth_noise(points, dice.rng, frequency=1.5, octaves=2) * 0.45 * amount * span
        for _ in range(2)
    ]
    squeeze = 1 - 0.45 * amount
    shift = np.stack([pull[0], pull[1], ridges * 0.12 * amount * span], 1)
    made = mesh.scaled((squeeze, squeeze, 1)).moved(shift)
    return made.moved((0, 0, -made.v[:, 2].min()))


def rippled(mesh: Mesh, dice: Dice, height: float, frequency: float) -> Mesh:
    """Add smooth bumps of about `height` m along the normals."""
    return mesh.along_normals(
        height * smooth_noise(mesh.v, dice.rng, frequency=frequency, octaves=3)
    )
