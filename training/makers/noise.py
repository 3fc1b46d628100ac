"""Smooth and creased random fields, evaluated at points and on tiles."""

from __future__ import annotations

import numpy as np

_LATTICE = 24  # points of the random lattice along each axis, after which a field repeats


def smooth_noise(
    points: np.ndarray, rng: np.random.Generator, *, frequency: float = 1.0, octaves: int = 3
) -> np.ndarray:
    """Value noise with octaves at points of shape (n, 3); about -1 to 1, shape (n,)."""
    total = np.zeros(len(points), np.float32)
    weight, norm = 1.0, 0.0
    for _ in range(octaves):
        lattice = rng.uniform(-1, 1, (_LATTICE,) * 3).astype(np.float32)
        total += weight * _at(lattice, points * frequency + rng.uniform(0, _LATTICE, 3))
        norm += weight
        weight *= 0.5
        frequency *= 2.03
    return total / norm


def _at(lattice: np.ndarray, points: np.ndarray) -> np.ndarray:
    base = np.floor(points).astype(np.int64)
    part = (points - base).astype(np.float32)
    part = part * part * (3 - 2 * part)
    low, high = base % _LATTICE, (base + 1) % _LATTICE
    total = np.zeros(len(points), np.float32)
    for corner in range(8):
        taken = [(corner >> axis) & 1 for axis in range(3)]
        cells = [(high if t else low)[:, axis] for axis, t in enumerate(taken)]
        shares = [part[:, axis] if t else 1 - part[:, axis] for axis, t in enumerate(taken)]
        total += lattice[tuple(cells)] * shares[0] * shares[1] * shares[2]
    return total


def creases(
    points: np.ndarray,
    rng: np.random.Generator,
    *,
    frequency: float,
    count: int = 10,
    bend: float = 0.3,
) -> np.ndarray:
    """Continuous field of flat facets that meet in sharp folds; about -1 to 1, shape (n,).

    A sum of triangle waves in random directions is linear between its folds, as crumpled sheets
    are; `bend` moves the points by smooth noise first, so that no fold runs straight through.
    """
    moved = points * frequency
    if bend:
        shift = [smooth_noise(points, rng, frequency=frequency, octaves=1) for _ in range(3)]
        moved = moved + bend * np.stack(shift, axis=1)
    total = np.zeros(len(points), np.float32)
    for _ in range(count):
        direction = rng.normal(size=3)
        direction *= rng.uniform(0.3, 1.6) / np.linalg.norm(direction)
        phase = moved @ direction + rng.uniform()
        total += (4 * np.abs(phase - np.floor(phase) - 0.5) - 1) / np.linalg.norm(direction)
    return total / (0.6 * count)


def tile_noise(
    size: int, rng: np.random.Generator, *, slope: float = 1.0, stretch: float = 1.0
) -> np.ndarray:
    """Tile that repeats, (size, size) float32 of mean 0 and deviation 1.

    Parameters
    ----------
    slope:
        Fall of the amplitude with frequency: 0 white noise, 1 fractal, 2 clouds.
    stretch:
        Above 1 makes the pattern longer along the rows by about this factor.
    """
    fy = np.fft.fftfreq(size)[:, None] * size
    fx = np.fft.rfftfreq(size)[None, :] * size * stretch
    radius = np.maximum(np.hypot(fx, fy), 1.0)
    spectrum = np.fft.rfft2(rng.normal(size=(size, size))) / radius**slope
    spectrum[0, 0] = 0
    tile = np.fft.irfft2(spectrum, s=(size, size)).astype(np.float32)
    return tile / max(float(tile.std()), 1e-6)
