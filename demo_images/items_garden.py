"""Garden waste and wood."""

from __future__ import annotations

import math
import random

import bpy
import numpy as np

from . import materials, shapes
from .fields import generator, offsets
from .registry import FROM_ABOVE, Item, variant
from .shapes import Objects


def _leaf(rng: random.Random, skin: bpy.types.Material) -> Objects:
    """A curled leaf of 5 to 9 cm with a stalk."""
    length = rng.uniform(0.05, 0.09)
    along, across = np.linspace(0, 1, 40), np.linspace(-1, 1, 21)
    teeth = 1 + 0.07 * np.sign(np.sin(along * 55))
    half = length * 0.3 * np.sin(np.pi * along**0.75) ** 0.8 * teeth
    points = np.empty((40, 21, 3))
    points[..., 0] = (along * length)[:, None] + np.abs(across) * half[:, None] * 0.25
    points[..., 1] = half[:, None] * across
    points[..., 2] = np.abs(points[..., 1]) * rng.uniform(0.1, 0.6) + rng.uniform(
        2, 9) * (points[..., 0] - length / 2) ** 2
    leaf = shapes.grid("leaf", points, skin)
    seed = rng.getrandbits(32)
    shapes.deform([leaf], lambda p: p + offsets(p, random.Random(seed), 0.03, 0.003, 2, False))
    end = points[0, 10]
    stem = end - np.array([[-0.004, 0, 0], [0.008, 0, 0.001], [0.022, -0.004, 0.003]])
    stalk = shapes.tube("stalk", shapes.smooth_path(stem), 0.0007, skin, 8)
    return [leaf, stalk]


@variant("garden", "a heap of autumn leaves and twigs")
def leaf_heap(rng: random.Random) -> Item:
    """Some forty leaves and a few twigs."""
    tones = ((0.42, 0.2, 0.05), (0.5, 0.33, 0.06), (0.25, 0.12, 0.05), (0.22, 0.3, 0.07),
             (0.45, 0.1, 0.04))
    skins = [materials.organic(t, [c * 0.55 for c in t], 0.008, 0.6, 0.0008).material
             for t in tones]
    gen = generator(rng)
    objects: Objects = []
    for index in range(46):
        leaf = _leaf(rng, rng.choice(skins))
        x, y = gen.normal(0, 0.05, 2)
        shapes.place(leaf, (gen.normal(0, 22) + 180 * (gen.random() < 0.3), gen.normal(0, 22),
                            gen.uniform(0, 360)))
        level = 0.05 * math.exp(-(x * x + y * y) / 0.005) * (index / 46)
        shapes.drop(leaf, level)
        objects += shapes.place(leaf, move=(float(x), float(y), 0))
    return Item(objects + _twigs(rng, 5, 0.04), rise=FROM_ABOVE)


def _twigs(rng: random.Random, count: int, height: float) -> Objects:
    """Thin crooked sticks of 12 to 25 cm with side shoots, up to `height` above the floor."""
    bark = materials.organic((0.2, 0.13, 0.08), (0.08, 0.05, 0.03), 0.006, 0.9, 0.0015).material
    gen = generator(rng)
    objects: Objects = []
    for _ in range(count):
        length = gen.uniform(0.12, 0.25)
        line = np.linspace(-length / 2, length / 2, 6)
        knots = np.stack([line, gen.normal(0, 0.008, 6), gen.normal(0, 0.004, 6)], 1)
        path = shapes.smooth_path(knots)
        twig = [shapes.tube("twig", path, np.linspace(0.004, 0.0015, len(path)), bark, 10)]
        for knot in (2, 3):
            tip = knots[knot] + [0.03, gen.choice((-1, 1)) * gen.uniform(0.02, 0.04), 0.012]
            shoot = shapes.smooth_path([knots[knot], (knots[knot] + tip) / 2 + [0.004, 0, 0], tip])
            taper = np.linspace(0.002, 0.0008, len(shoot))
            twig.append(shapes.tube("shoot", shoot, taper, bark, 8))
        shapes.place(twig, (gen.uniform(-30, 30), gen.normal(0, 7), gen.uniform(0, 360)))
        shapes.drop(twig, gen.uniform(0, height))
        x, y = gen.normal(0, 0.03, 2)
        objects += shapes.place(twig, move=(float(x), float(y), 0))
    return objects


@variant("garden", "cut twigs with green leaves")
def green_cuttings(rng: random.Random) -> Item:
    """A handful of hedge cuttings."""
    tones = ((0.1, 0.24, 0.04), (0.16, 0.3, 0.06), (0.07, 0.17, 0.03))
    skins = [materials.organic(t, [c * 0.6 for c in t], 0.01, 0.4, 0.0006).material for t in tones]
    gen = generator(rng)
    objects = _twigs(rng, 9, 0.03)
    for _ in range(30):
        leaf = _leaf(rng, rng.choice(skins))
        for part in leaf:
            part.scale = (0.7, 0.7, 0.7)
        shapes.place(leaf, (gen.normal(0, 25), gen.normal(0, 25), gen.uniform(0, 360)))
        shapes.drop(leaf, gen.uniform(0, 0.04))
        x, y = gen.normal(0, 0.05, 2)
        objects += shapes.place(leaf, move=(float(x), float(y), 0))
    return Item(objects, rise=FROM_ABOVE)


def _plank(rng: random.Random, size: tuple[float, float, float]) -> bpy.types.Object:
    """A sawn board of `size` metres; the heart of the tree lies below it."""
    tone = rng.uniform(0.75, 1.1)
    shader = materials.timber([c * tone for c in (0.62, 0.44, 0.26)],
                              [c * tone for c in (0.4, 0.25, 0.12)])
    plank = shapes.box("plank", size, shader.dirt(0.2).material, 0.0015)
    shift = np.array([0, rng.uniform(-0.02, 0.02), rng.uniform(0.02, 0.06)])
    shapes.deform([plank], lambda p: p + shift)
    shapes.place([plank], move=-shift)
    return plank


@variant("wood", "sawn offcuts of wooden boards")
def offcuts(rng: random.Random) -> Item:
    """Three short boards in a loose pile, one with nails."""
    objects: Objects = []
    level = 0.0
    for index in range(3):
        size = (rng.uniform(0.18, 0.28), rng.uniform(0.05, 0.09), rng.uniform(0.018, 0.03))
        board = [_plank(rng, size)]
        if index == 2:
            steel = materials.metal((0.35, 0.27, 0.22), 0.5).material
            for x in (-0.06, 0.05):
                nail = shapes.tube("nail", shapes.smooth_path(
                    [(x, 0, size[2] - 0.01), (x, 0, size[2] + 0.02),
                     (x + 0.006, 0.002, size[2] + 0.035)]), 0.0015, steel, 10)
                board.append(nail)
        shapes.place(board, (0, 0, rng.uniform(-35, 35) + 60 * index),
                     (rng.uniform(-0.03, 0.03), rng.uniform(-0.03, 0.03), level))
        objects += board
        level += size[2]
    return Item(objects)


@variant("wood", "a sawn piece of a branch")
def log_piece(rng: random.Random) -> Item:
    """A piece of branch of 6 cm by 16 cm with bark, lying down."""
    bark = materials.organic((0.19, 0.125, 0.075), (0.055, 0.035, 0.022), 0.012, 0.95, 0.004)
    bark.bump(bark.noise(0.004, 6, bark.stretched((0.25, 1, 1))), 0.003, 0.9)
    radius, length = rng.uniform(0.03, 0.045), rng.uniform(0.12, 0.18)
    x = np.linspace(-length / 2, length / 2, 80)
    path = np.stack([x, 0 * x, 0 * x], 1)
    trunk = shapes.tube("trunk", path, radius, bark.material, 110)
    seed = rng.getrandbits(32)
    shapes.deform([trunk], lambda p: p + offsets(p, random.Random(seed), 0.04, 0.003, 4, False)
                  * [0, 1, 1])
    pale = materials.timber((0.66, 0.48, 0.29), (0.47, 0.3, 0.15)).material
    ends = []
    for sign in (-1, 1):
        disc = shapes.lathe("end", [(0.0, 0.0), (radius * 0.95, 0.0)], pale, 64)
        # The disc keeps its own axes, so its pattern must be turned with the mesh itself.
        shapes.deform([disc], lambda p, s=sign: p[:, [2, 1, 0]] + [s * (length / 2 + 0.0006), 0, 0])
        ends.append(disc)
    return Item([trunk, *ends])
