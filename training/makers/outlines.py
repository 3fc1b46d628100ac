"""Flat solids from drawn outlines: leaves, shards, cutlery, slices."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt, map_coordinates

from training.makers.mesh import Mesh, fine_profile, grid, merge

_MASK_PX = 192


def polygon_mask(points: np.ndarray, size: int = _MASK_PX) -> np.ndarray:
    """Mask, uint8 (size, size), of a polygon (m, 2) in -1 to 1, y up, with soft edges."""
    image = Image.new("L", (2 * size, 2 * size), 0)
    draw = ImageDraw.Draw(image)
    draw.polygon([((x + 1) * size, (y + 1) * size) for x, y in points], fill=255)
    return np.asarray(image.resize((size, size), Image.Resampling.BOX))


def strokes_mask(lines: Sequence[tuple[np.ndarray, float]], size: int = _MASK_PX) -> np.ndarray:
    """Mask of round strokes: paths (m, 2) in -1 to 1 and their widths."""
    image = Image.new("L", (2 * size, 2 * size), 0)
    draw = ImageDraw.Draw(image)
    for path, width in lines:
        at = [((x + 1) * size, (y + 1) * size) for x, y in path]
        half = width * size / 2
        draw.line(at, 255, max(1, int(2 * half)), joint="curve")
        for x, y in at:
            draw.ellipse((x - half, y - half, x + half, y + half), fill=255)
    return np.asarray(image.resize((size, size), Image.Resampling.BOX))


def blob(
    rng: np.random.Generator, *, rough: float = 0.2, corners: int = 90, low: int = 2
) -> np.ndarray:
    """Closed outline (m, 2) about the unit circle, with waves from `low` turns upward."""
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = np.full(corners, 0.8)
    for turns in range(low, low + 7):
        radius += (
            rough
            * rng.normal()
            / (turns - low + 2) ** 1.3
            * np.cos(turns * angle + rng.uniform(0, 7))
        )
    radius = np.clip(radius, 0.15, None)
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle)], 1)
    return points * 0.93 / np.abs(points).max()


def shard(rng: np.random.Generator, corners: int) -> np.ndarray:
    """Outline with straight edges and sharp corners."""
    angle = np.sort(rng.uniform(0, 2 * np.pi, corners))
    radius = rng.uniform(0.35, 1.0, corners)
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle)], 1)
    points = points - points.mean(0)
    return points * 0.95 / np.abs(points).max()


def prism(points: np.ndarray, thickness: float) -> Mesh:
    """Plate of a star-shaped outline (m, 2) about its middle, with upright edges."""
    ring = fine_profile(np.concatenate([points, points[:1]]), 5)
    steps = np.linspace(0, 1, 6)[:, None, None]
    top = np.concatenate(
        [ring.mean(0) + steps * (ring - ring.mean(0)), np.full((6, len(ring), 1), thickness)], 2
    )
    low = top * [1, 1, 0]
    area = np.sum(ring[:-1, 0] * ring[1:, 1] - ring[1:, 0] * ring[:-1, 1])
    faces = [grid(top), grid(low).flipped(), grid(np.stack([top[-1], low[-1]]))]
    return merge([f.flipped() if area > 0 else f for f in faces])


def relief(
    mask: np.ndarray,
    width: float,
    depth: float,
    thickness: float,
    *,
    edge: float = 0.0,
    steps: int = 56,
    hollow: bool = False,
) -> Mesh:
    """Solid of a mask's outline, `thickness` m high in its middle, lying on the floor.

    Parameters
    ----------
    edge:
        Share of the mask's half width over which the rim is rounded; 0 leaves it upright.
    hollow:
        Only the upper face, as for a leaf or a peel.
    """
    high = _heights(mask, edge, steps) * thickness
    y, x = np.mgrid[-depth / 2 : depth / 2 : steps * 1j, -width / 2 : width / 2 : steps * 1j]
    top = grid(np.stack([x, y, high], 2))
    inside = _sampled(mask, steps) > 2
    keep = inside.ravel()[top.f].any(axis=1)
    top = Mesh(top.v, top.uv, top.f[keep])
    if hollow:
        return top
    floor = Mesh(top.v * np.array([1, 1, 0], np.float32), top.uv, top.f[:, ::-1])
    if edge > 0:
        return merge([top, floor])
    layers = [
        Mesh(top.v * np.array([1, 1, s], np.float32), top.uv, top.f)
        for s in np.linspace(0.12, 0.9, 7)
    ]
    return merge([top, floor, *layers])


def _sampled(values: np.ndarray, steps: int) -> np.ndarray:
    at = np.mgrid[0 : values.shape[0] - 1 : steps * 1j, 0 : values.shape[1] - 1 : steps * 1j]
    return map_coordinates(values.astype(np.float32), at, order=1)


def _heights(mask: np.ndarray, edge: float, steps: int) -> np.ndarray:
    if edge <= 0:
        return np.ones((steps, steps))
    depth = distance_transform_edt(mask > 127)
    t = np.clip(depth / (edge * max(float(depth.max()), 1)), 0, 1)
    return _sampled(np.sqrt(1 - (1 - t) ** 2), steps)


def cut(texture: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Give a texture a mask as its fourth channel; both have y up, as outlines do."""
    size = mask.shape[::-1]
    colours = np.asarray(Image.fromarray(texture[..., :3]).resize(size))
    return np.concatenate([colours, mask[..., None]], 2)[::-1]
