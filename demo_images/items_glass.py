"""Glass bottles and jars, broken glass, and ceramics."""

from __future__ import annotations

import math
import random
from itertools import pairwise

import bpy
import numpy as np

from . import labels, materials, shapes
from .fields import creases, generator, waves
from .items_metal import can_print
from .registry import FROM_ABOVE, Item, variant
from .shapes import Objects, Point

GREEN = (0.25, 0.55, 0.2)
BROWN = (0.5, 0.2, 0.035)
CLEAR = (0.95, 0.98, 0.96)
WINE: list[Point] = [
    (0.0, 0.014), (0.02, 0.006), (0.032, 0.0), (0.037, 0.004), (0.0375, 0.012), (0.0375, 0.17),
    (0.0375, 0.19), (0.034, 0.21), (0.019, 0.228), (0.0145, 0.245), (0.0135, 0.285),
    (0.0135, 0.285), (0.0152, 0.286), (0.0152, 0.296), (0.0145, 0.298)]
BEER: list[Point] = [
    (0.0, 0.008), (0.02, 0.004), (0.027, 0.0), (0.0302, 0.004), (0.0305, 0.01), (0.0305, 0.125),
    (0.0305, 0.135), (0.027, 0.155), (0.0155, 0.178), (0.013, 0.2), (0.0125, 0.218),
    (0.0125, 0.218), (0.0136, 0.219), (0.0136, 0.226), (0.0125, 0.228)]


def thick(profile: list[Point], wall: float) -> list[Point]:
    """The outer profile followed by the inner one, `wall` metres within it."""
    outer = np.array(profile)
    direction = np.gradient(outer, axis=0)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True) + 1e-9
    inner = outer + np.stack([-direction[:, 1], direction[:, 0]], 1) * wall
    inner[:, 0] = np.maximum(inner[:, 0], 0.0)
    inner[outer[:, 0] < 1e-9, 0] = 0.0
    return [*profile, *((float(r), float(z)) for r, z in inner[::-1])]


def _bottle(rng: random.Random) -> Objects:
    """A wine or beer bottle with a paper label."""
    wine = rng.random() < 0.5
    colour = rng.choice((GREEN, CLEAR) if wine else (BROWN, GREEN, BROWN))
    outline = shapes.resampled(shapes.rounded(WINE if wine else BEER, 2), 0.004)
    skin = materials.glass(colour)
    objects = [shapes.lathe("bottle", thick(outline, 0.0028), skin.material)]
    radius, low, high = (0.0377, 0.05, 0.13) if wine else (0.0307, 0.035, 0.095)
    words = ("RED WINE", "CIDER", "OLIVE OIL") if wine else ("MALT BEER", "LAGER", "ALE")
    band = shapes.resampled([(radius, low), (radius, high)], 0.004)
    objects.append(shapes.lathe("label", band, can_print(rng, words, 0.0, True)))
    return objects


@variant("glass_bottle", "an empty glass bottle standing")
def bottle_standing(rng: random.Random) -> Item:
    """Standing bottle."""
    return Item(_bottle(rng))


@variant("glass_bottle", "an empty glass bottle on its side")
def bottle_lying(rng: random.Random) -> Item:
    """Bottle on its side."""
    bottle = shapes.place(_bottle(rng), (90, rng.uniform(0, 360), 0))
    return Item(shapes.place(bottle, (0, 0, rng.choice((90, -90)))), front=True)


def screw_lid(rng: random.Random, radius: float = 0.034) -> Objects:
    """A painted tinplate screw lid, 15 mm high, standing on its rim."""
    points = shapes.lathe_points(shapes.rounded(
        [(radius - 0.0035, 0.001), (radius, 0.0), (radius + 0.0006, 0.0012), (radius, 0.0025),
         (radius, 0.0025), (radius, 0.0125), (radius, 0.0125), (radius - 0.002, 0.0145),
         (radius * 0.86, 0.0142), (radius * 0.82, 0.0134), (0.0, 0.0136)], 2), 200)
    ridge = (points[..., 2] > 0.003) * (points[..., 2] < 0.012)
    points[..., :2] *= 1 + 0.008 * (np.cos(
        np.linspace(0, 2 * np.pi, 201) * 50)[None, :] * ridge)[..., None]
    colour = [c / 255 for c in labels.vivid(rng)]
    gold = rng.random() < 0.5
    outside = materials.metal((0.75, 0.55, 0.25) if gold else colour, 0.3).dirt(0.2)
    lid = shapes.grid("lid", points, outside.material)
    shapes.merge_doubles(lid)
    lid.data.materials.append(materials.plain((0.8, 0.78, 0.7), 0.3).dirt(0.3).material)
    wall = shapes.solidify(lid, 0.0004, -1).modifiers["wall"]
    wall.material_offset = 1
    return [lid]


def _jar(rng: random.Random) -> Objects:
    """A jar of 70 mm by 110 mm with a threaded neck and mostly a label."""
    height = rng.uniform(0.085, 0.12)
    outline = shapes.rounded(
        [(0.0, 0.006), (0.024, 0.003), (0.03, 0.0), (0.035, 0.003), (0.0352, 0.01),
         (0.0352, height * 0.78), (0.0345, height * 0.86), (0.0305, height * 0.9),
         (0.0305, height * 0.92), (0.032, height * 0.93), (0.0305, height * 0.945),
         (0.032, height * 0.96), (0.0305, height * 0.975), (0.0305, height),
         (0.029, height + 0.001)], 2)
    body = shapes.lathe("jar", thick(outline, 0.0026), materials.glass(CLEAR).material)
    if rng.random() < 0.75:
        band = shapes.resampled([(0.0354, height * 0.2), (0.0354, height * 0.66)], 0.004)
        words = ("JAM", "HONEY", "PICKLES", "PASTA SAUCE", "OLIVES")
        return [body, shapes.lathe("label", band, can_print(rng, words, 0.0, True))]
    return [body]


@variant("glass_jar", "an empty glass jar with its screw lid beside it")
def jar_with_lid(rng: random.Random) -> Item:
    """Open jar and lid."""
    lid = screw_lid(rng)
    if rng.random() < 0.5:
        shapes.place(lid, (180, 0, 0))
    shapes.drop(lid)
    angle = rng.uniform(0, 2 * math.pi)
    shapes.place(lid, move=(0.078 * math.cos(angle), 0.078 * math.sin(angle), 0))
    return Item([*_jar(rng), *lid])


@variant("glass_jar", "an empty glass jar on its side")
def jar_lying(rng: random.Random) -> Item:
    """Open jar lying down."""
    return Item(shapes.place(_jar(rng), (90, rng.uniform(0, 360), 0)))


def _broken_neck(colour: tuple[float, float, float], rng: random.Random,
                 keep_above: float | None, keep_below: float | None) -> bpy.types.Object:
    """A part of a wine bottle with a jagged broken edge."""
    outline = shapes.resampled(shapes.rounded(WINE, 2), 0.0016)
    points = shapes.lathe_points(outline, 160)
    middle = (points[:-1, :-1] + points[1:, 1:]) / 2
    jag = creases(middle.reshape(-1, 3), rng, 0.03, 2).reshape(middle.shape[:2]) * 0.022
    height = middle[..., 2] + jag
    keep = height > keep_above if keep_above is not None else height < keep_below
    part = shapes.grid("part", points, materials.glass(colour).material, keep)
    shapes.merge_doubles(part)
    return shapes.solidify(part, 0.0032, -1)


def _shard(colour: tuple[float, float, float], gen: np.random.Generator) -> bpy.types.Object:
    """A curved splinter of a bottle wall, 1 to 5 cm long, lying on the floor."""
    size = gen.uniform(0.01, 0.028)
    angles = np.sort(gen.uniform(0, 2 * np.pi, gen.integers(3, 6)))
    reach = size * gen.uniform(0.6, 1.6, len(angles))
    corners = np.stack([reach * np.cos(angles), reach * np.sin(angles)], 1)
    ring = np.concatenate([np.linspace(a, b, 6, endpoint=False)
                           for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
    levels = np.linspace(1, 0.0, 6)
    flat = ring[None] * levels[:, None, None] + corners.mean(0) * (1 - levels)[:, None, None]
    z = -np.sqrt(np.maximum(0.0375**2 - flat[..., 0] ** 2, 1e-6)) + 0.0375
    points = np.concatenate([flat, z[..., None]], axis=2)
    points = np.concatenate([points, points[:, :1]], axis=1)
    shard = shapes.grid("shard", points, materials.glass(colour).material)
    shapes.merge_doubles(shard)
    return shapes.solidify(shard, 0.003)


@variant("broken_glass", "the pieces of a broken glass bottle")
def broken_bottle(rng: random.Random) -> Item:
    """The neck of a bottle, its foot, and splinters."""
    gen = generator(rng)
    colour = rng.choice((GREEN, GREEN, BROWN))
    top = _broken_neck(colour, rng, rng.uniform(0.175, 0.2), None)
    shapes.place([top], move=(0, 0, -0.24))
    shapes.place([top], (rng.uniform(84, 96), 0, rng.uniform(-30, 30)))
    shapes.drop([top])
    shapes.place([top], move=(0.055, 0.03, 0))
    foot = _broken_neck(colour, rng, None, rng.uniform(0.035, 0.05))
    shapes.drop([foot])
    shapes.place([foot], move=(-0.045, 0.0, 0))
    objects = [top, foot]
    for _ in range(14):
        shard = _shard(colour, gen)
        shapes.place([shard], (gen.choice((0, 180)) + gen.normal(0, 8), gen.normal(0, 8),
                               gen.uniform(0, 360)))
        shapes.drop([shard])
        x, y = gen.uniform(-0.075, 0.075, 2)
        objects += shapes.place([shard], move=(float(x), float(y) - 0.02, 0))
    return Item(objects, rise=FROM_ABOVE)


def _glaze(rng: random.Random) -> materials.Shader:
    colour = rng.choice(((0.8, 0.78, 0.72), (0.2, 0.35, 0.5), (0.55, 0.2, 0.12), (0.35, 0.42, 0.3)))
    return materials.plain(colour, 0.15)


def _crack(shader: materials.Shader, size: float) -> bpy.types.Material:
    """Draw dark crack lines about `size` metres apart over a glaze."""
    jitter = shader.node("VectorMath", {"0": shader.coordinates(), "1": shader.node(
        "VectorMath", {"0": shader.node("TexNoise", {
            "Vector": shader.coordinates(), "Scale": 60.0}).outputs["Color"],
            "Scale": 0.012}, operation="SCALE").outputs[0]}, operation="ADD").outputs[0]
    edge = shader.node("TexVoronoi", {"Vector": jitter, "Scale": 1 / size},
                       feature="DISTANCE_TO_EDGE").outputs["Distance"]
    line = shader.ramp(edge, [(0.004, (1, 1, 1)), (0.011, (0, 0, 0))])
    return shader.set("Base Color", shader.mix(line, shader.base(), (0.08, 0.06, 0.05))).material


@variant("glass_ceramic_other", "a cracked and chipped ceramic mug")
def cracked_mug(rng: random.Random) -> Item:
    """A mug of 82 mm by 95 mm with a chipped rim and cracks."""
    skin = _crack(_glaze(rng), 0.085)
    outline = shapes.resampled(shapes.rounded(
        [(0.0, 0.002), (0.03, 0.002), (0.032, 0.0), (0.036, 0.003), (0.041, 0.012),
         (0.041, 0.012), (0.041, 0.092), (0.041, 0.095)], 2), 0.0008)
    points = shapes.lathe_points(outline, 320)
    middle = ((points[:-1, :-1] + points[1:, 1:]) / 2).reshape(-1, 3)
    chip = np.linalg.norm(middle - [-0.041, 0.008, 0.099], axis=1)
    chip += 0.004 * creases(middle, rng, 0.02, 1)
    body = shapes.grid("mug", points, skin, (chip > 0.013).reshape(points.shape[0] - 1, -1))
    shapes.merge_doubles(body)
    body.data.materials.append(materials.paper((0.75, 0.68, 0.58), 0.001).material)
    wall = shapes.solidify(body, 0.0042, -1).modifiers["wall"]
    wall.material_offset_rim = 1
    handle = shapes.tube("handle", shapes.smooth_path(
        [(0.039, 0, 0.078), (0.052, 0, 0.08), (0.071, 0, 0.072), (0.073, 0, 0.045),
         (0.06, 0, 0.026), (0.039, 0, 0.023)]), 0.0055, skin, 20, 1.3)
    return Item([body, handle])


@variant("glass_ceramic_other", "a broken ceramic plate")
def broken_plate(rng: random.Random) -> Item:
    """A plate of 22 cm broken into three pieces that lie apart."""
    skin = _glaze(rng).material
    body = materials.paper((0.75, 0.68, 0.58), 0.001).material
    outline = shapes.resampled(shapes.rounded(
        [(0.0, 0.003), (0.055, 0.003), (0.06, 0.002), (0.075, 0.008), (0.108, 0.018),
         (0.11, 0.0185)], 2), 0.0022)
    points = shapes.lathe_points(outline, 220)
    middle = (points[:-1, :-1] + points[1:, 1:]) / 2
    reach = np.hypot(middle[..., 0], middle[..., 1])
    jag = waves(np.stack([reach.ravel()] * 3, 1), rng, 0.03, 3).reshape(reach.shape) * 0.3
    angle = (np.arctan2(middle[..., 1], middle[..., 0]) + jag) % (2 * np.pi)
    cuts = (0.0, rng.uniform(1.5, 2.3), rng.uniform(3.4, 4.6), 2 * np.pi)
    objects = []
    for low, high in pairwise(cuts):
        piece = shapes.grid("piece", points, skin, (angle >= low) & (angle < high))
        shapes.merge_doubles(piece)
        piece.data.materials.append(body)
        wall = shapes.solidify(piece, 0.0045, 0).modifiers["wall"]
        wall.material_offset_rim = 1
        out = (low + high) / 2
        shapes.place([piece], (rng.uniform(-2, 4), rng.uniform(-3, 3), rng.uniform(-10, 10)),
                     (0.016 * math.cos(out), 0.016 * math.sin(out), 0))
        objects += shapes.drop([piece])
    return Item(objects, rise=FROM_ABOVE)
