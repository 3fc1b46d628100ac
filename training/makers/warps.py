"""Ways in which things lose their shape: crushed, bent, crumpled, rippled."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.material import Part
from training.makers.mesh import Mesh, ball, merge, sheet
from training.makers.noise import creases, smooth_noise


def bent(mesh: Mesh, degrees: float) -> Mesh:
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


def folded(
    mesh: Mesh,
    dice: Dice,
    folds: int,
    steep: tuple[float, float],
    *,
    soft: float = 0.0,
    tries: int = 1,
) -> Mesh:
    """Fold a sheet along random planes, each of which mirrors what lies beyond it.

    Mirroring keeps every length, so that facets stay flat and creases sharp, and a sheet that is
    folded often enough becomes a ball with all its corners and hidden layers.

    Parameters
    ----------
    steep:
        Range of the planes' tilt in degrees; a fold turns paper by twice as much.
    soft:
        Radius of the creases, m: 0 for paper and foil, some millimetres for tissue and cloth.
    tries:
        Planes drawn for each fold, of which the one across the longest extent is taken: above 1
        the outcome is rounder.
    """
    v = mesh.v.astype(float)
    for _ in range(folds):
        normal = _longest(v, [_tilted(dice, steep) for _ in range(tries)])
        beyond = v @ normal
        beyond = beyond - np.quantile(beyond[::7], dice.between(0.25, 0.85))
        reach = beyond if soft == 0 else 0.5 * (beyond + np.sqrt(beyond**2 + soft**2))
        v = v - np.outer(2 * np.maximum(reach, 0), normal)
    v = v - v.mean(0)
    return Mesh(v.astype(np.float32), mesh.uv, mesh.f, mesh.weld)


def _tilted(dice: Dice, steep: tuple[float, float]) -> np.ndarray:
    tilt, turn = np.radians(dice.between(*steep)), dice.between(0, 2 * np.pi)
    level = np.sin(tilt)
    normal = np.array([level * np.cos(turn), level * np.sin(turn), np.cos(tilt)])
    return normal * dice.pick((-1.0, 1.0))


def _longest(v: np.ndarray, normals: list[np.ndarray]) -> np.ndarray:
    return max(normals, key=lambda n: float(np.std(v[::11] @ n)))


def crumpled_sheet(mesh: Mesh, dice: Dice, amount: float, *, scale: float = 0.2) -> Mesh:
    """Crease a sheet that lies flat; `amount` 0 to 1, `scale` the distance of its waves, m."""
    tilt = 26 * amount
    points = mesh.v / scale
    wave = smooth_noise(points, dice.rng, frequency=0.9, octaves=2) * scale * amount * 0.5
    raised = mesh.moved(np.stack([0 * wave, 0 * wave, wave], 1))
    made = folded(raised, dice, dice.whole(12, 26), (0.1 * tilt, tilt + 0.2))
    return made.moved((0, 0, -made.v[:, 2].min()))


def crumpled_ball(
    dice: Dice, radius: float, *, loose: float = 0.3, soft: float = 0.0, steps: int = 100
) -> Mesh:
    """Sheet pressed into a ball of about this radius, m; `loose` 0 (tight) to 1 (half open)."""
    flat = sheet(1.0, dice.between(0.7, 1.4), steps, steps)
    start = smooth_noise(flat.v, dice.rng, frequency=2.0, octaves=2) * 0.06
    raised = flat.moved(np.stack([0 * start, 0 * start, start], 1))
    folds = int(dice.between(13, 22) * (1 - 0.6 * loose))
    made = folded(raised, dice, max(folds, 4), (20, 90), soft=soft, tries=4)
    made = folded(made, dice, 10, (3, 25), soft=soft)
    made = _rounder(made, 0.75 * (1 - loose))
    size = np.quantile(np.linalg.norm(made.v, axis=1), 0.9)
    return made.scaled(radius / max(float(size), 1e-6))


def _rounder(mesh: Mesh, share: float) -> Mesh:
    """Make the spread along the principal axes more alike; 1 makes it equal."""
    v = mesh.v - mesh.v.mean(0)
    spread, axes = np.linalg.eigh(np.cov(v[::5].T))
    factor = (spread.mean() / np.maximum(spread, 1e-3 * spread.mean())) ** (0.5 * share)
    v = (v @ axes * factor) @ axes.T
    return Mesh(v.astype(np.float32), mesh.uv, mesh.f, mesh.weld)


def lump(dice: Dice, radius: float, *, depth: float = 0.35, levels: int = 5) -> Mesh:
    """Closed body with facets and deep folds, as of a filled bag or a wrapped thing."""
    sphere = ball(1.0, levels)
    soft = smooth_noise(sphere.v, dice.rng, frequency=1.4, octaves=2)
    coarse = creases(sphere.v, dice.rng, frequency=0.8, count=7, bend=0.5)
    fine = creases(sphere.v, dice.rng, frequency=2.2, count=9, bend=0.5)
    folds = np.abs(creases(sphere.v, dice.rng, frequency=1.3, count=4, bend=0.6))
    r = 1 + depth * (0.5 * soft + 0.45 * coarse + 0.22 * fine - 0.5 * np.exp(-folds * 9))
    stretch = [dice.between(0.75, 1.2), dice.between(0.75, 1.2), dice.between(0.6, 1.0)]
    return sphere.warped(lambda v: v * r[:, None] * radius).scaled(stretch)


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
