"""Put one item on a floor, light it and aim a phone-like camera at it.

`build(form, seed)` is all that is needed to render varied pictures in bulk.
"""

from __future__ import annotations

import math
import random

import bpy
import numpy as np
from mathutils import Quaternion, Vector

from . import (  # noqa: F401  (importing a module registers its builders)
    items_bottles,
    items_fibre,
    items_food,
    items_garden,
    items_glass,
    items_metal,
    items_other,
    items_paper,
    items_plastic,
)
from .fields import generator
from .floors import FLOORS, table_edge
from .lights import LIGHTS
from .materials import organic
from .registry import FROM_ABOVE, VARIANTS, Item
from .shapes import box, drop, mesh_object, place, world_vertices

SENSOR_MM = 36.0
NEAREST = 0.27


def forms() -> list[str]:
    """All form ids that can be built."""
    return sorted(VARIANTS)


def build(form: str, seed: int, variant: int | None = None, floor: str | None = None,
          light: str | None = None, aspect: float = 1.0) -> str:
    """Make the scene for `form` ready to render, and tell what it shows.

    Everything not given is drawn from `seed`. `aspect` is picture width over height.
    """
    rng = random.Random(f"{form}:{seed}")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    choices = VARIANTS[form]
    chosen = choices[rng.randrange(len(choices)) if variant is None else variant]
    item = chosen.build(rng)
    heading = rng.uniform(0, 360)
    place(item.objects, (0, 0, heading + 90 + rng.gauss(0, 24) if item.front
                         else rng.uniform(0, 360)))
    drop(item.objects)
    _scene_around(item, rng, heading, floor, light, aspect)
    return chosen.shows


def build_empty(seed: int, floor: str, light: str, table: bool, aspect: float = 1.0) -> None:
    """A picture without an item: a bare floor, or the edge of a table above it."""
    rng = random.Random(f"empty:{seed}")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    marker = box("marker", (0.3, 0.3, 0.02), organic((0.5,) * 3, (0.4,) * 3).material)
    item = Item([marker], rise=FROM_ABOVE)
    if table:
        place(item.objects, move=(0, 0, 0.7))
    camera = _aim_camera(item, rng, rng.uniform(0, 360), aspect)
    bpy.data.objects.remove(marker)
    FLOORS[floor](rng)
    if table:
        table_edge(rng, 0.7)
    else:
        _crumbs(rng, 0.3)
    LIGHTS[light](rng, camera)


def _scene_around(item: Item, rng: random.Random, heading: float, floor: str | None,
                  light: str | None, aspect: float) -> None:
    camera = _aim_camera(item, rng, heading, aspect)
    FLOORS[floor or rng.choice(sorted(FLOORS))](rng)
    _crumbs(rng, 0.6 * camera.length)
    LIGHTS[light or rng.choice(sorted(LIGHTS))](rng, camera)


def _aim_camera(item: Item, rng: random.Random, heading: float, aspect: float) -> Vector:
    """Frame the item from `heading` (degrees) so that it fills most of the picture's width.

    Gives the camera's position.
    """
    points = np.concatenate([world_vertices(obj, True) for obj in item.objects])
    centre = Vector((points.min(0) + points.max(0)) / 2)
    rise = math.radians(rng.uniform(*item.rise))
    turn_z = math.radians(heading)
    back = Vector((math.cos(turn_z) * math.cos(rise), math.sin(turn_z) * math.cos(rise),
                   math.sin(rise)))
    data = bpy.data.cameras.new("phone")
    data.lens = rng.uniform(26, 48)
    turn = back.to_track_quat("Z", "Y") @ Quaternion((0, 0, 1), math.radians(rng.gauss(0, 4)))
    fill, distance = rng.uniform(0.7, 0.9), 1.0
    shape = np.array([1.0, 1 / aspect] if aspect >= 1 else [aspect, 1.0])
    axes = np.array(turn.to_matrix())
    for _ in range(16):
        half = SENSOR_MM / 2 / data.lens * shape
        local = (points - np.array(centre + back * distance)) @ axes
        view = local[:, :2] / -np.minimum(local[:, 2:], -0.02) / half
        low, high = view.min(0), view.max(0)
        shift = axes[:, :2] @ ((low + high) / 2 * half * distance)
        centre += Vector(shift)
        distance *= float((high - low).max() / 2 / fill)
        if distance < NEAREST:
            # People zoom in on small things rather than hold the phone too close to focus.
            data.lens *= NEAREST / distance
            distance = NEAREST
    centre += Vector(axes[:, :2] @ (np.array([rng.gauss(0, 0.05), rng.gauss(0, 0.05)])
                                    * half * distance))
    camera = bpy.data.objects.new("phone", data)
    camera.location = centre + back * distance
    camera.rotation_mode = "QUATERNION"
    camera.rotation_quaternion = turn
    data.dof.use_dof = True
    data.dof.focus_distance = distance * rng.uniform(0.93, 1.0)
    # A phone lens of f/1.8 blurs about as little as f/11 on the full frame that `lens` refers to.
    data.dof.aperture_fstop = rng.uniform(9, 16)
    data.clip_start = 0.005
    bpy.context.scene.collection.objects.link(camera)
    bpy.context.scene.camera = camera
    return camera.location.copy()


def _crumbs(rng: random.Random, spread: float) -> None:
    """Scatter a few bits of dirt within `spread` metres."""
    gen = generator(rng)
    corners = np.array([(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -0.4)])
    faces = [(0, 2, 4), (2, 1, 4), (1, 3, 4), (3, 0, 4), (2, 0, 5), (1, 2, 5), (3, 1, 5), (0, 3, 5)]
    dark = organic((0.3, 0.22, 0.14), (0.12, 0.08, 0.05), 0.004, 0.9)
    for _ in range(rng.randint(3, 16)):
        size = gen.uniform(0.0006, 0.0022) * (1 + 2 * (gen.random() < 0.1))
        shape = corners * gen.uniform(0.5, 1.4, (6, 1)) * size
        x, y = gen.normal(0, spread * 0.6, 2)
        place([mesh_object("crumb", shape, faces, dark.material, smooth=False)],
              (0, 0, gen.uniform(0, 360)), (x, y, size * 0.3))
