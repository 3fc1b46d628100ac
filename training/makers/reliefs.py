"""Tiles of fine relief: slopes in two directions and height, as the shaders look them up."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree

from training.makers.noise import tile_noise

_SIZE = 256


@lru_cache(maxsize=8)
def relief_tile(name: str) -> np.ndarray:
    """Relief that repeats, uint8 (256, 256, 3): slope along x, along y, and height, 128 as zero."""
    rng = np.random.default_rng([7, len(name), ord(name[0])])
    high = _HEIGHTS[name](rng)
    high = (high - high.mean()) / high.std()
    along = (np.roll(high, -1, 1) - np.roll(high, 1, 1)) / 2
    across = (np.roll(high, -1, 0) - np.roll(high, 1, 0)) / 2
    spread = max(float(np.hypot(along, across).std()), 1e-6)
    layers = [along / spread * 0.16, across / spread * 0.16, high * 0.16]
    return np.stack([np.clip(v * 255 + 128, 0, 255) for v in layers], 2).astype(np.uint8)


def _fractal(rng: np.random.Generator) -> np.ndarray:
    return tile_noise(_SIZE, rng, slope=1.4)


def _fibre(rng: np.random.Generator) -> np.ndarray:
    layers = [np.rot90(tile_noise(_SIZE, rng, slope=1.3, stretch=7), k) for k in range(2)] + [
        tile_noise(_SIZE, rng, slope=1.0)
    ]
    return np.maximum(layers[0], layers[1]) + 0.5 * layers[2]


def _cells(rng: np.random.Generator) -> np.ndarray:
    points = rng.uniform(0, _SIZE, (420, 2))
    y, x = np.mgrid[:_SIZE, :_SIZE]
    near = cKDTree(points, boxsize=_SIZE).query(np.stack([x.ravel(), y.ravel()], 1), 2)[0]
    return np.minimum(near[:, 1] - near[:, 0], 5).reshape(_SIZE, _SIZE)


def _weave(rng: np.random.Generator) -> np.ndarray:
    y, x = np.mgrid[:_SIZE, :_SIZE] * (2 * np.pi / _SIZE)
    threads = 24
    over = np.sin(x * threads / 2) * np.sin(y * threads / 2) > 0
    woven = np.where(over, np.abs(np.sin(x * threads / 2)), np.abs(np.sin(y * threads / 2)))
    return gaussian_filter(woven, 0.8, mode="wrap") * 2 + 0.25 * tile_noise(_SIZE, rng, slope=0.7)


def _brushed(rng: np.random.Generator) -> np.ndarray:
    return tile_noise(_SIZE, rng, slope=0.5, stretch=40)


_HEIGHTS = {
    "fractal": _fractal,
    "fibre": _fibre,
    "cells": _cells,
    "weave": _weave,
    "brushed": _brushed,
}
