"""Light of everyday rooms and yards: window sun, overcast sky, ceiling lamp, phone flash."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import bpy
import numpy as np
from mathutils import Vector

from . import materials, shapes

Colour = tuple[float, float, float]


def _surroundings(rng: random.Random, colour: Colour, strength: float) -> None:
    """A blurred room or yard around the scene, so that shiny things have something to mirror."""
    world = bpy.data.worlds.new("surroundings")
    bpy.context.scene.world = world
    world.use_nodes = True
    tree = world.node_tree
    coordinates = tree.nodes.new("ShaderNodeTexCoord").outputs["Generated"]
    shift = tree.nodes.new("ShaderNodeMapping")
    shift.inputs["Location"].default_value = [rng.uniform(0, 50) for _ in range(3)]
    noise = tree.nodes.new("ShaderNodeTexNoise")
    noise.inputs["Scale"].default_value = 2.2
    noise.inputs["Detail"].default_value = 1.5
    ramp = tree.nodes.new("ShaderNodeValToRGB")
    ramp.color_ramp.elements[0].position, ramp.color_ramp.elements[1].position = 0.36, 0.66
    ramp.color_ramp.elements[0].color = (*[c * 0.25 for c in colour], 1)
    ramp.color_ramp.elements[1].color = (*colour, 1)
    tree.links.new(coordinates, shift.inputs["Vector"])
    tree.links.new(shift.outputs[0], noise.inputs["Vector"])
    tree.links.new(noise.outputs[0], ramp.inputs["Fac"])
    tree.links.new(ramp.outputs[0], tree.nodes["Background"].inputs["Color"])
    tree.nodes["Background"].inputs["Strength"].default_value = strength


def _lamp(kind: str, position: Vector, energy: float, colour: Colour, size: float) -> None:
    """A lamp at `position` aimed at the origin; `energy` in watts (W/m2 for the sun)."""
    data = bpy.data.lights.new(kind.lower(), kind)
    data.energy, data.color = energy, colour
    if kind == "SUN":
        data.angle = math.radians(size)
    elif kind == "AREA":
        data.size = size
    else:
        data.shadow_soft_size = size
    lamp = bpy.data.objects.new(kind.lower(), data)
    lamp.location = position
    lamp.rotation_euler = (-position).to_track_quat("-Z", "Y").to_euler()
    bpy.context.scene.collection.objects.link(lamp)


def _direction(rng: random.Random, low: float, high: float) -> Vector:
    """A unit vector at a random heading and an elevation between two angles in degrees."""
    heading, rise = rng.uniform(0, 2 * math.pi), math.radians(rng.uniform(low, high))
    return Vector((math.cos(heading) * math.cos(rise), math.sin(heading) * math.cos(rise),
                   math.sin(rise)))


def _window_bars(rng: random.Random, towards: Vector) -> None:
    """A window frame between sun and item that throws straight shadows."""
    dark = materials.plain((0.5, 0.5, 0.5)).material
    turn = towards.to_track_quat("Z", "Y").to_euler()
    for shift, wide in ((rng.uniform(-0.3, -0.1), True), (rng.uniform(0.12, 0.3), False)):
        size = (3.0, 0.05, 0.05) if wide else (0.05, 3.0, 0.05)
        bar = shapes.box("bar", size, dark)
        # Only its shadow belongs in the picture.
        bar.visible_camera = bar.visible_glossy = False
        offset = np.array([0, shift, 0] if wide else [shift, 0, 0])
        shapes.place([bar], move=offset)
        shapes.place([bar], [math.degrees(a) for a in turn], towards * 1.6)


def window_sun(rng: random.Random, _camera: Vector) -> None:
    """Low warm sun through a window into a dim bluish room."""
    _surroundings(rng, (0.75, 0.85, 1.0), rng.uniform(0.5, 0.9))
    towards = _direction(rng, 30, 55)
    _lamp("SUN", towards * 3, rng.uniform(2.5, 4.0), (1.0, 0.88, 0.7), 0.8)
    if rng.random() < 0.6:
        _window_bars(rng, towards)
    _lamp("AREA", _direction(rng, 20, 50) * 2, 18, (0.8, 0.9, 1.0), 0.9)


def overcast(rng: random.Random, _camera: Vector) -> None:
    """Soft grey daylight from above."""
    _surroundings(rng, (0.9, 0.95, 1.0), 1.0)
    _lamp("AREA", _direction(rng, 55, 80) * 2.5, 90, (0.93, 0.97, 1.0), 2.2)


def ceiling(rng: random.Random, _camera: Vector) -> None:
    """A warm ceiling lamp in a dim room, with some light from a window."""
    _surroundings(rng, (1.0, 0.8, 0.6), 0.3)
    _lamp("AREA", _direction(rng, 55, 75) * 1.9, 35, (1.0, 0.76, 0.5), 0.3)
    _lamp("AREA", _direction(rng, 20, 40) * 2.0, 14, (0.85, 0.92, 1.0), 0.8)


def window_soft(rng: random.Random, _camera: Vector) -> None:
    """A large window to one side, no direct sun."""
    _surroundings(rng, (0.9, 0.9, 0.95), 0.45)
    _lamp("AREA", _direction(rng, 25, 50) * 1.6, 60, (0.95, 0.98, 1.0), 1.0)


def flash(rng: random.Random, camera: Vector) -> None:
    """The phone's lamp beside the lens in a dim room."""
    _surroundings(rng, (1.0, 0.85, 0.7), 0.35)
    side = camera.cross(Vector((0, 0, 1))).normalized() * 0.03
    _lamp("POINT", camera * 1.02 + side, 6.0 * camera.length_squared, (1.0, 0.97, 0.92), 0.008)
    _lamp("AREA", _direction(rng, 60, 80) * 2.0, 12, (1.0, 0.8, 0.6), 0.5)


LIGHTS: dict[str, Callable[[random.Random, Vector], None]] = {
    "window_sun": window_sun, "overcast": overcast, "ceiling": ceiling,
    "window_soft": window_soft, "flash": flash,
}
