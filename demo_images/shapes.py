"""Mesh builders. All lengths are in metres, z points up, and new objects stand on z = 0."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

import bmesh
import bpy
import numpy as np
from mathutils import Euler, Matrix, Vector

Array = np.ndarray
Objects = list[bpy.types.Object]
Point = tuple[float, float]


def mesh_object(name: str, verts: Array, faces: Sequence[Sequence[int]],
                material: bpy.types.Material, uvs: Array | None = None,
                smooth: bool = True) -> bpy.types.Object:
    """Link a mesh made of `verts` (N, 3); `uvs` holds one (u, v) a vertex."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(np.asarray(verts, float).tolist(), [], [list(face) for face in faces])
    if uvs is not None:
        loops = np.empty(len(mesh.loops), dtype=np.int32)
        mesh.loops.foreach_get("vertex_index", loops)
        layer = mesh.uv_layers.new(name="UVMap")
        layer.data.foreach_set("uv", np.asarray(uvs, np.float32)[loops].ravel())
    mesh.polygons.foreach_set("use_smooth", [smooth] * len(mesh.polygons))
    mesh.materials.append(material)
    mesh.update()
    obj = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(obj)
    return obj


def grid(name: str, points: Array, material: bpy.types.Material,
         keep: Array | None = None, smooth: bool = True) -> bpy.types.Object:
    """A surface over a (rows, columns, 3) array; `keep` masks its (rows-1, columns-1) quads.

    The texture runs once along the columns (u) and once along the rows (v).
    """
    rows, cols = points.shape[:2]
    corner = (np.arange(rows - 1)[:, None] * cols + np.arange(cols - 1)).ravel()
    faces = np.stack([corner, corner + 1, corner + cols + 1, corner + cols], axis=1)
    u, v = np.meshgrid(np.linspace(0, 1, cols), np.linspace(0, 1, rows))
    uvs = np.stack([u, v], axis=2).reshape(-1, 2)
    verts = points.reshape(-1, 3)
    if keep is not None:
        # Loose vertices would count when the item is framed and set on the floor.
        used, flat = np.unique(faces[keep.ravel()], return_inverse=True)
        faces, verts, uvs = flat.reshape(-1, 4), verts[used], uvs[used]
    return mesh_object(name, verts, faces.tolist(), material, uvs, smooth)


def lathe_points(profile: Sequence[Point], segments: int = 96, power: float = 2.0,
                 aspect: float = 1.0, turn: tuple[float, float] = (0.0, 1.0)) -> Array:
    """Points of a turned profile of (radius, height) pairs.

    `power` above 2 squares the cross-section off, `aspect` is its depth over its width, and
    `turn` is the part of the full turn that is made.
    """
    angle = np.linspace(turn[0], turn[1], segments + 1) * 2 * np.pi
    cos, sin = np.cos(angle), np.sin(angle)
    stretch = (np.abs(cos) ** power + np.abs(sin) ** power) ** (-1 / power)
    radius, height = np.array(profile, float).T
    x = radius[:, None] * cos * stretch
    y = radius[:, None] * sin * stretch * aspect
    return np.stack([x, y, np.broadcast_to(height[:, None], x.shape)], axis=2)


def lathe(name: str, profile: Sequence[Point], material: bpy.types.Material,
          segments: int = 96, power: float = 2.0, aspect: float = 1.0) -> bpy.types.Object:
    """A turned solid's skin, closed around z and merged at the seam."""
    obj = grid(name, lathe_points(profile, segments, power, aspect), material)
    merge_doubles(obj)
    return obj


def merge_doubles(obj: bpy.types.Object, distance: float = 1e-6) -> None:
    """Weld vertices nearer than `distance` metres, so that no seam shows in the shading."""
    mesh = bmesh.new()
    mesh.from_mesh(obj.data)
    bmesh.ops.remove_doubles(mesh, verts=mesh.verts, dist=distance)
    bmesh.ops.recalc_face_normals(mesh, faces=mesh.faces)
    mesh.to_mesh(obj.data)
    mesh.free()


def rounded(profile: Sequence[Point], passes: int = 2) -> list[Point]:
    """Cut the corners of a profile (Chaikin); a point given twice stays sharper."""
    points = np.array(profile, float)
    for _ in range(passes):
        first, second = points[:-1], points[1:]
        cut = np.stack([0.75 * first + 0.25 * second, 0.25 * first + 0.75 * second], axis=1)
        points = np.concatenate([points[:1], cut.reshape(-1, 2), points[-1:]])
    return [(float(r), float(z)) for r, z in points]


def resampled(profile: Sequence[Point], step: float) -> list[Point]:
    """The profile with extra points at most `step` metres apart, for later deformation."""
    points = [profile[0]]
    for start, end in pairwise(profile):
        count = max(1, math.ceil(math.dist(start, end) / step))
        points += [(start[0] + (end[0] - start[0]) * i / count,
                    start[1] + (end[1] - start[1]) * i / count) for i in range(1, count + 1)]
    return points


def sheet_points(width: float, depth: float, step: float) -> Array:
    """A flat (rows, columns, 3) grid centred on the origin, with cells of about `step` metres."""
    x = np.linspace(-width / 2, width / 2, max(2, round(width / step) + 1))
    y = np.linspace(-depth / 2, depth / 2, max(2, round(depth / step) + 1))
    gx, gy = np.meshgrid(x, y)
    return np.stack([gx, gy, np.zeros_like(gx)], axis=2)


def box(name: str, size: tuple[float, float, float], material: bpy.types.Material,
        edge: float = 0.001) -> bpy.types.Object:
    """A block standing on z = 0 with bevelled edges of `edge` metres."""
    x, y, z = size[0] / 2, size[1] / 2, size[2]
    verts = [(sx * x, sy * y, sz) for sz in (0, z) for sx, sy in
             ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    faces = [(3, 2, 1, 0), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7)]
    obj = mesh_object(name, np.array(verts), faces, material, smooth=False)
    bevel(obj, edge)
    return obj


def tube(name: str, path: Array, radius: float | Array, material: bpy.types.Material,
         segments: int = 16, flatten: float = 1.0) -> bpy.types.Object:
    """A pipe swept along `path` (N, 3); `flatten` squeezes its section along the second axis."""
    path = np.asarray(path, float)
    tangents = np.gradient(path, axis=0)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    side = np.cross(tangents[0], (0.3, 0.2, 1.0))
    rings = []
    for point, tangent, r in zip(path, tangents, np.broadcast_to(radius, len(path)), strict=True):
        side = side - tangent * (side @ tangent)
        side /= np.linalg.norm(side)
        up = np.cross(tangent, side)
        angle = np.linspace(0, 2 * np.pi, segments + 1)[:, None]
        rings.append(point + r * (np.cos(angle) * side + flatten * np.sin(angle) * up))
    caps = [np.broadcast_to(path[i], rings[0].shape) for i in (0, -1)]
    obj = grid(name, np.stack([caps[0], *rings, caps[1]]), material)
    merge_doubles(obj)
    return obj


def smooth_path(points: Sequence[Sequence[float]], passes: int = 3) -> Array:
    """A curved path through the neighbourhood of a few 3D points (Chaikin corner cutting)."""
    path = np.array(points, float)
    for _ in range(passes):
        cut = np.stack([0.75 * path[:-1] + 0.25 * path[1:], 0.25 * path[:-1] + 0.75 * path[1:]], 1)
        path = np.concatenate([path[:1], cut.reshape(-1, 3), path[-1:]])
    return path


def solidify(obj: bpy.types.Object, thickness: float, offset: float = 0.0) -> bpy.types.Object:
    """Give a skin a wall of `thickness` metres."""
    modifier = obj.modifiers.new("wall", "SOLIDIFY")
    modifier.thickness = thickness
    modifier.offset = offset
    return obj


def bevel(obj: bpy.types.Object, width: float, segments: int = 2) -> bpy.types.Object:
    """Round the sharp edges by `width` metres."""
    modifier = obj.modifiers.new("bevel", "BEVEL")
    modifier.width = width
    modifier.segments = segments
    modifier.limit_method = "ANGLE"
    return obj


def subdivide(obj: bpy.types.Object, levels: int = 1) -> bpy.types.Object:
    """Smooth the mesh by subdivision."""
    modifier = obj.modifiers.new("smooth", "SUBSURF")
    modifier.levels = modifier.render_levels = levels
    return obj


def world_vertices(obj: bpy.types.Object, evaluated: bool = False) -> Array:
    """The (N, 3) vertices of an object in world space, optionally with its modifiers applied."""
    source = obj.evaluated_get(bpy.context.evaluated_depsgraph_get()) if evaluated else obj
    flat = np.empty(len(source.data.vertices) * 3, np.float32)
    source.data.vertices.foreach_get("co", flat)
    matrix = np.array(obj.matrix_world)
    return flat.reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3]


def deform(objects: Iterable[bpy.types.Object], change: Callable[[Array], Array]) -> None:
    """Move the vertices: `change` maps world points (N, 3) to new world points."""
    for obj in objects:
        inverse = np.array(obj.matrix_world.inverted())
        moved = change(world_vertices(obj)) @ inverse[:3, :3].T + inverse[:3, 3]
        obj.data.vertices.foreach_set("co", moved.astype(np.float32).ravel())
        obj.data.update()


def place(objects: Objects, turn: Sequence[float] = (0, 0, 0),
          move: Sequence[float] = (0, 0, 0)) -> Objects:
    """Rotate by Euler angles (degrees) about the origin, then move (metres)."""
    matrix = Matrix.Translation(Vector(move)) @ Euler(
        [math.radians(a) for a in turn]).to_matrix().to_4x4()
    for obj in objects:
        obj.matrix_world = matrix @ obj.matrix_world
    bpy.context.view_layer.update()
    return objects


def drop(objects: Objects, height: float = 0.0) -> Objects:
    """Lift or lower the objects together until the lowest vertex is at `height`."""
    bpy.context.view_layer.update()
    lowest = min(world_vertices(obj, True)[:, 2].min() for obj in objects)
    return place(objects, move=(0, 0, height - float(lowest)))
