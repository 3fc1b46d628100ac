"""Triangle meshes of simple solids and sheets; lengths in metres, z up."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.spatial import ConvexHull


@dataclass(frozen=True, slots=True)
class Mesh:
    """Vertices (n, 3), texture coordinates (n, 2) and triangles (k, 3) of vertex numbers.

    Vertices at one place count as one point where normals are worked out if `weld` says so.
    """

    v: np.ndarray
    uv: np.ndarray
    f: np.ndarray
    weld: np.ndarray | None = None

    def normals(self) -> np.ndarray:
        """Area-weighted normals of the vertices, (n, 3)."""
        a, b, c = (self.v[self.f[:, i]] for i in range(3))
        face = np.cross(b - a, c - a)
        points = self.f if self.weld is None else self.weld[self.f]
        total = np.stack(
            [
                np.bincount(points.ravel(), np.repeat(face[:, axis], 3), len(self.v))
                for axis in range(3)
            ],
            axis=1,
        )
        if self.weld is not None:
            total = total[self.weld]
        length = np.linalg.norm(total, axis=1, keepdims=True)
        return (total / np.maximum(length, 1e-12)).astype(np.float32)

    def moved(self, offset: Sequence[float] | np.ndarray) -> Mesh:
        """Shift by an offset, shape (3,) or (n, 3)."""
        return Mesh(self.v + np.asarray(offset, np.float32), self.uv, self.f, self.weld)

    def scaled(self, factor: float | Sequence[float]) -> Mesh:
        """Scale about the origin, by one factor or one for each axis."""
        return Mesh(self.v * np.asarray(factor, np.float32), self.uv, self.f, self.weld)

    def turned(self, matrix: np.ndarray) -> Mesh:
        """Rotate by a (3, 3) matrix."""
        return Mesh((self.v @ matrix.T).astype(np.float32), self.uv, self.f, self.weld)

    def flipped(self) -> Mesh:
        """Turn the surface inside out."""
        return Mesh(self.v, self.uv, self.f[:, ::-1], self.weld)

    def along_normals(self, amount: np.ndarray | float) -> Mesh:
        """Move each vertex along its normal by `amount`, m."""
        shift = self.normals() * np.broadcast_to(amount, len(self.v))[:, None]
        return self.moved(shift)

    def warped(self, change: Callable[[np.ndarray], np.ndarray]) -> Mesh:
        """Replace the vertices by what a function makes of them."""
        return Mesh(np.asarray(change(self.v), np.float32), self.uv, self.f, self.weld)


def rotation(axis: Sequence[float] | np.ndarray, angle: float) -> np.ndarray:
    """Matrix (3, 3) that turns by `angle`, radians, about an axis (Rodrigues' formula)."""
    x, y, z = np.asarray(axis, float) / np.linalg.norm(axis)
    k = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k


def merge(meshes: Sequence[Mesh]) -> Mesh:
    """Join meshes into one."""
    starts = np.cumsum([0, *(len(m.v) for m in meshes)])
    welds = [
        np.arange(len(m.v)) + s if m.weld is None else m.weld + s
        for m, s in zip(meshes, starts, strict=False)
    ]
    return Mesh(
        np.concatenate([m.v for m in meshes]).astype(np.float32),
        np.concatenate([m.uv for m in meshes]).astype(np.float32),
        np.concatenate([m.f + s for m, s in zip(meshes, starts, strict=False)]),
        np.concatenate(welds),
    )


@lru_cache(maxsize=64)
def _grid_faces(rows: int, columns: int) -> np.ndarray:
    number = np.arange(rows * columns).reshape(rows, columns)
    a, b = number[:-1, :-1].ravel(), number[:-1, 1:].ravel()
    c, d = number[1:, 1:].ravel(), number[1:, :-1].ravel()
    return np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])


def grid(points: np.ndarray, *, around: bool = False) -> Mesh:
    """Surface over a grid of points (rows, columns, 3); u runs along columns, v along rows.

    With `around`, first and last column lie on each other and share their normals.
    """
    rows, columns = points.shape[:2]
    v, u = np.mgrid[0 : 1 : rows * 1j, 0 : 1 : columns * 1j]
    weld = None
    if around:
        number = np.arange(rows * columns).reshape(rows, columns).copy()
        number[:, -1] = number[:, 0]
        weld = number.ravel()
    return Mesh(
        points.reshape(-1, 3).astype(np.float32),
        np.stack([u.ravel(), v.ravel()], 1).astype(np.float32),
        _grid_faces(rows, columns),
        weld,
    )


def sheet(width: float, depth: float, rows: int = 64, columns: int = 64) -> Mesh:
    """Flat sheet about the origin, facing up."""
    y, x = np.mgrid[-depth / 2 : depth / 2 : rows * 1j, -width / 2 : width / 2 : columns * 1j]
    return grid(np.stack([x, y, np.zeros_like(x)], 2))


def fine_profile(points: Sequence[Sequence[float]] | np.ndarray, steps: int = 4) -> np.ndarray:
    """Put points between the corners of a profile, evenly, so that it can be bent."""
    corners = np.asarray(points, float)
    parts = [
        corners[i] + (corners[i + 1] - corners[i]) * np.arange(steps)[:, None] / steps
        for i in range(len(corners) - 1)
    ]
    return np.concatenate([*parts, corners[-1:]])


def smooth_profile(points: Sequence[Sequence[float]], rows: int = 32) -> np.ndarray:
    """Round curve through points (Catmull-Rom spline), shape (rows, columns of the points)."""
    p = np.asarray(points, float)
    p = np.concatenate([2 * p[:1] - p[1:2], p, 2 * p[-1:] - p[-2:-1]])
    at = np.linspace(0, len(p) - 3 - 1e-6, rows)
    i = at.astype(int)
    t = (at - i)[:, None]
    a, b, c, d = p[i], p[i + 1], p[i + 2], p[i + 3]
    return 0.5 * (
        2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2 + (3 * b - a - 3 * c + d) * t**3
    )


def turned(
    profile: Sequence[Sequence[float]] | np.ndarray,
    *,
    sides: int = 48,
    power: float = 2.0,
    aspect: float = 1.0,
    sharp: bool = True,
) -> Mesh:
    """Profile of (radius, height) turned about the z axis, outside where it rises.

    Parameters
    ----------
    power:
        Exponent of the cross-section's superellipse: 2 round, above 4 a rounded square.
    aspect:
        Depth over width of the cross-section.
    sharp:
        Keep corners of the profile sharper than 35 degrees as edges (vertices are doubled).
    """
    line = np.asarray(profile, np.float32)
    if sharp:
        line = _doubled_corners(line)
    angle = np.linspace(0, 2 * np.pi, sides + 1)
    x, y = np.cos(angle), np.sin(angle)
    r = (np.abs(x) ** power + np.abs(y) ** power) ** (-1 / power)
    radius, height = line[:, 0, None], line[:, 1, None]
    points = np.stack(
        [radius * (r * x), radius * (r * y) * aspect, np.broadcast_to(height, (len(line), len(x)))],
        2,
    )
    made = grid(points, around=True)
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    made.uv[:, 1] = np.repeat(length / max(length[-1], 1e-9), sides + 1)
    return made


def _doubled_corners(line: np.ndarray) -> np.ndarray:
    step = np.diff(line, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    bend = np.abs((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)
    return np.repeat(line, np.concatenate([[1], 1 + (bend > np.radians(35)), [1]]), axis=0)


@lru_cache(maxsize=4)
def _icosphere(levels: int) -> tuple[np.ndarray, np.ndarray]:
    g = (1 + 5**0.5) / 2
    v = np.array([[-1, g, 0], [1, g, 0], [-1, -g, 0], [1, -g, 0]], float)
    v = np.concatenate([v, v[:, [2, 0, 1]], v[:, [1, 2, 0]]])
    v /= np.linalg.norm(v[0])
    for _ in range(levels):
        f = ConvexHull(v).simplices
        edges = np.unique(
            np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [0, 2]]]), 1), axis=0
        )
        middle = v[edges].mean(1)
        v = np.concatenate([v, middle / np.linalg.norm(middle, axis=1, keepdims=True)])
    f = ConvexHull(v).simplices
    a, b, c = (v[f[:, i]] for i in range(3))
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), a) < 0
    f[inward] = f[inward][:, ::-1]
    return v.astype(np.float32), f.astype(np.int64)


def ball(radius: float = 1.0, levels: int = 5) -> Mesh:
    """Sphere of even triangles; 4 levels give 2,562 vertices, 5 give 10,242."""
    v, f = _icosphere(levels)
    u = np.arctan2(v[:, 1], v[:, 0]) / (2 * np.pi) + 0.5
    return Mesh(v * radius, np.stack([u, v[:, 2] * 0.5 + 0.5], 1).astype(np.float32), f)


def tube(
    path: np.ndarray, radius: float | np.ndarray, *, sides: int = 14, flat: float = 1.0
) -> Mesh:
    """Round or flattened rod along a path (m, 3), closed at both ends.

    `radius` is one number or one for each point of the path; `flat` the height of the
    cross-section over its width.
    """
    path = np.asarray(path, float)
    widths = np.broadcast_to(np.asarray(radius, float), len(path))
    heading = np.gradient(path, axis=0)
    heading /= np.maximum(np.linalg.norm(heading, axis=1, keepdims=True), 1e-12)
    up = np.array([0.0, 0.0, 1.0]) if np.abs(heading[:, 2]).max() < 0.95 else np.array([0.0, 1, 0])
    side = np.cross(up, heading)
    side /= np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-12)
    upward = np.cross(heading, side)
    angle = np.linspace(0, 2 * np.pi, sides + 1)
    ring = side[:, None] * np.cos(angle)[:, None] + flat * upward[:, None] * np.sin(angle)[:, None]
    points = path[:, None] + widths[:, None, None] * ring
    caps = [np.repeat(path[i][None, None], sides + 1, 1) for i in (0, -1)]
    return grid(np.concatenate([caps[0], points[:1], points, points[-1:], caps[1]]), around=True)


_SIDES = (
    ((0, 1, 2), 1, (0, 0)),
    ((0, 1, 2), -1, (1, 0)),
    ((0, 2, 1), -1, (0, 1)),
    ((0, 2, 1), 1, (1, 1)),
    ((1, 2, 0), 1, (0, 2)),
    ((1, 2, 0), -1, (1, 2)),
)


def box(width: float, depth: float, height: float, steps: int = 2) -> Mesh:
    """Box standing on the floor; each side has a sixth of the texture (two by three cells)."""
    size = np.array([width, depth, height]) / 2
    at = np.linspace(-1, 1, steps)
    parts = []
    for (a, b, c), sign, (column, row) in _SIDES:
        points = np.zeros((steps, steps, 3))
        points[..., a] = at[None] * size[a]
        points[..., b] = at[:, None] * size[b]
        points[..., c] = sign * size[c]
        side = grid(points)
        if sign * (1 if (a, b, c) != (0, 2, 1) else -1) < 0:
            side = side.flipped()
            side.uv[:, 0] = 1 - side.uv[:, 0]
        side.uv[:] = (side.uv + np.array([column, row])) / [2, 3]
        parts.append(side)
    return merge(parts).moved((0, 0, height / 2))
