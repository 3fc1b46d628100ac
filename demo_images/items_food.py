"""Food rests: peel, core, bread."""

from __future__ import annotations

import random

import bpy
import numpy as np

from . import materials, shapes
from .fields import Array, offsets, waves
from .registry import FROM_ABOVE, Item, variant


def _peel_skin() -> tuple[bpy.types.Material, bpy.types.Material]:
    """The yellow, brown-spotted outside and the pale inside of a banana peel."""
    shader = materials.plain((0.8, 0.52, 0.04), 0.45)
    for size, low in ((0.012, 0.56), (0.004, 0.62)):
        spots = shader.ramp(shader.noise(size, 5), [(low, (0, 0, 0)), (low + 0.07, (1, 1, 1))])
        shader.set("Base Color", shader.mix(spots, shader.base(), (0.13, 0.055, 0.015)))
    inside = materials.organic((0.85, 0.74, 0.5), (0.66, 0.5, 0.27), 0.006, 0.6, 0.001)
    return shader.material, inside.material


@variant("food", "a banana peel")
def banana_peel(rng: random.Random) -> Item:
    """Four strips of peel that hang from the stalk and lie spread on the floor."""
    outside, inside = _peel_skin()
    objects = []
    for index in range(4):
        along = np.linspace(0, 1, 60)
        half = 0.019 * np.sin(np.clip(along * 1.08, 0, 1) * np.pi) ** 0.55 + 0.0012
        across = np.linspace(-1, 1, 15)
        length = rng.uniform(0.12, 0.15)
        rise = 0.042 * np.exp(-((along - 0.12) / 0.2) ** 2) + rng.uniform(0, 0.012) * along**3
        points = np.empty((60, 15, 3))
        points[..., 0] = (0.006 + along * length * 0.92)[:, None]
        points[..., 1] = half[:, None] * across + (rng.uniform(-0.05, 0.05) * along**2)[:, None]
        points[..., 2] = rise[:, None] + 0.3 * half[:, None] * (1 - across**2)
        # One strip has turned over and shows its pale inside.
        skins = (outside, inside) if index == 3 else (inside, outside)
        strip = shapes.grid("strip", points, skins[0])
        strip.data.materials.append(skins[1])
        wall = shapes.solidify(strip, 0.0022, -1).modifiers["wall"]
        wall.material_offset = wall.material_offset_rim = 1
        seed = rng.getrandbits(32)
        shapes.deform([strip], lambda p, seed=seed: p + offsets(
            p, random.Random(seed), 0.05, 0.0045, 2, False)
            * np.clip(p[:, :1] / 0.03, 0, 1))
        shapes.place([strip], (0, 0, index * 90 + rng.uniform(-22, 22)))
        objects.append(strip)
    return Item([*objects, _stalk(outside)])


def _stalk(skin: bpy.types.Material) -> bpy.types.Object:
    path = shapes.smooth_path([(0, 0, 0.028), (0, 0, 0.05), (0.004, 0, 0.066), (0.011, 0, 0.082)])
    return shapes.tube("stalk", path, np.linspace(0.013, 0.0055, len(path)), skin)


@variant("food", "an eaten apple core")
def apple_core(rng: random.Random) -> Item:
    """An apple eaten down to its core, with skin left at both ends."""
    outline = shapes.resampled(shapes.rounded(
        [(0.0, 0.008), (0.006, 0.004), (0.016, 0.0), (0.026, 0.006), (0.026, 0.014),
         (0.014, 0.024), (0.0115, 0.036), (0.014, 0.048), (0.027, 0.056), (0.029, 0.066),
         (0.018, 0.072), (0.006, 0.066), (0.0, 0.063)], 2), 0.0012)
    flesh = materials.organic((0.86, 0.72, 0.42), (0.55, 0.33, 0.12), 0.012, 0.45, 0.002)
    colour = rng.choice(((0.5, 0.03, 0.02), (0.3, 0.42, 0.06), (0.6, 0.25, 0.05)))
    # Skin where the profile is wide, flesh where it was bitten away.
    radius = flesh.node("VectorMath", {"0": flesh.stretched((1, 1, 0))},
                        operation="LENGTH").outputs["Value"]
    ragged = flesh.node("Math", {"0": radius, "1": flesh.node("Math", {
        "0": flesh.noise(0.008, 4), "1": 0.008}, operation="MULTIPLY").outputs[0]},
        operation="ADD").outputs[0]
    mask = flesh.ramp(ragged, [(0.0245, (0, 0, 0)), (0.0252, (1, 1, 1))])
    flesh.set("Base Color", flesh.mix(mask, flesh.base(), colour))
    core = shapes.lathe("core", outline, flesh.material, 110)
    seed = rng.getrandbits(32)

    def bite(points: Array) -> Array:
        local = random.Random(seed)
        middle = np.exp(-(((points[:, 2] - 0.036) / 0.017) ** 2))
        marks = np.abs(waves(points, local, 0.011, 2)) * 0.006 * middle
        outward = points * [1, 1, 0] / (np.linalg.norm(points[:, :2], axis=1)[:, None] + 1e-5)
        return points - outward * marks[:, None] + offsets(points, local, 0.03, 0.0015, 2, False)

    shapes.deform([core], bite)
    stalk = shapes.tube("stalk", shapes.smooth_path(
        [(0, 0, 0.06), (0.001, 0, 0.072), (0.006, 0, 0.084)]), 0.0014,
        materials.plain((0.12, 0.06, 0.03), 0.8).material)
    return Item(shapes.place([core, stalk], (rng.uniform(68, 84), 0, 0)))


@variant("food", "slices of stale bread")
def bread(rng: random.Random) -> Item:
    """Two slices of bread with crust, one leaning on the other."""
    objects = []
    for index in range(2):
        angle = np.linspace(0, 2 * np.pi, 97)
        x = 0.05 * np.sign(np.cos(angle)) * np.abs(np.cos(angle)) ** 0.55
        y = 0.05 * np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** 0.6
        x = x * (1 + 0.13 * np.clip(y / 0.05, 0, 1) ** 3)
        rings = np.concatenate([[0.0], np.linspace(0.05, 0.955, 30), [0.985, 1.0],
                                np.linspace(0.955, 0.05, 30), [0.0]])
        height = np.concatenate([np.full(31, 0.0), [0.0, 0.009], np.full(31, 0.013)])
        points = np.stack([rings[:, None] * x, rings[:, None] * y,
                           np.broadcast_to(height[:, None], (len(rings), 97))], axis=2)
        crumb = materials.organic((0.86, 0.74, 0.54), (0.72, 0.57, 0.36), 0.008, 0.9, 0.0)
        for size in (0.0022, 0.0045):
            pores = crumb.ramp(crumb.noise(size, 2), [(0.56, (0, 0, 0)), (0.7, (1, 1, 1))])
            crumb.bump(pores, -0.0011, 0.8)
        slice_ = shapes.grid("slice", points, crumb.material)
        crust = materials.organic((0.4, 0.19, 0.06), (0.22, 0.09, 0.03), 0.008, 0.7, 0.001)
        slice_.data.materials.append(crust.material)
        for polygon in slice_.data.polygons:
            polygon.material_index = int(30 * 96 <= polygon.index < 33 * 96)
        seed = rng.getrandbits(32)
        shapes.deform([slice_], lambda p, seed=seed: p + offsets(
            p, random.Random(seed), 0.08, 0.0025, 2, False))
        shapes.place([slice_], (0, 14 * index, rng.uniform(-40, 40)), (0.05 * index, 0, 0.0))
        shapes.drop([slice_], 0.006 * index)
        objects.append(slice_)
    return Item(objects, rise=FROM_ABOVE)
