"""Smooth and creased random fields, evaluated on arrays of points in metres."""

from __future__ import annotations

import random

import numpy as np

Array = np.ndarray


def generator(rng: random.Random) -> np.random.Generator:
    """A numpy generator that depends only on the state of `rng`."""
    return np.random.default_rng(rng.getrandbits(32))


def _plane_phases(points: Array, gen: np.random.Generator, scale: float, count: int) -> Array:
    """Phases of `count` random plane waves with wavelengths near twice `scale` (metres)."""
    directions = gen.normal(size=(count, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    frequency = np.pi / scale * gen.uniform(0.7, 1.4, count)
    return points @ directions.T * frequency + gen.uniform(0, 2 * np.pi, count)


def waves(points: Array, rng: random.Random, scale: float, octaves: int = 3) -> Array:
    """Smooth noise of about -1 to 1; `scale` is the width of the largest bump in metres."""
    gen = generator(rng)
    total = np.zeros(len(points))
    for octave in range(octaves):
        phases = _plane_phases(points, gen, scale / 2**octave, 6)
        total += np.sin(phases).mean(axis=1) * 1.6 * 0.5**octave
    return total


def creases(points: Array, rng: random.Random, scale: float, octaves: int = 3) -> Array:
    """Noise of about -1 to 1 made of flat facets that meet in sharp folds, as crumpled paper."""
    gen = generator(rng)
    warp = np.stack([waves(points, rng, scale * 1.5, 2) for _ in range(3)], axis=1)
    warped = points + warp * scale * 0.35
    total = np.zeros(len(points))
    for octave in range(octaves):
        phases = _plane_phases(warped, gen, scale / 2**octave, 4)
        total += np.arcsin(np.sin(phases)).mean(axis=1) * 1.1 * 0.55**octave
    return total


def offsets(points: Array, rng: random.Random, scale: float, amount: float, octaves: int = 3,
            sharp: bool = True) -> Array:
    """Random displacement vectors (N, 3) of about `amount` metres, creased or smooth."""
    field = creases if sharp else waves
    return amount * np.stack([field(points, rng, scale, octaves) for _ in range(3)], axis=1)
