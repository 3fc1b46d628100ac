"""Printed paper, paper bags and wraps, coated paper cups, tissue."""

from __future__ import annotations

import math
import random

import bpy
import numpy as np

from . import labels, materials, shapes
from .fields import Array, creases, offsets, waves
from .items_fibre import squared
from .registry import FROM_ABOVE, Item, variant
from .shapes import Objects


def crumple(objects: Objects, rng: random.Random, size: float, amount: float,
            gather: float = 0.85) -> None:
    """Crease sheets: folds of `size` metres moved by `amount` metres, drawn in by `gather`."""
    seed = rng.getrandbits(32)

    def change(points: Array) -> Array:
        local = random.Random(seed)
        moved = points * [gather, gather, 1] + offsets(points, local, size, amount, 4)
        moved[:, 2] += np.abs(creases(points, local, size * 1.6, 3)) * amount * 1.5
        return moved

    shapes.deform(objects, change)


def soft_folds(objects: Objects, rng: random.Random, gather: tuple[float, float],
               amount: float) -> None:
    """Draw soft sheets in by `gather` per axis, in round folds of `amount` metres."""
    seed = rng.getrandbits(32)
    shapes.deform(objects, lambda p: p * [*gather, 1] + offsets(
        p, random.Random(seed), 0.05, amount, 2, False))
    crumple(objects, rng, 0.04, 0.004, 0.95)


def lump(material: bpy.types.Material, rng: random.Random, radius: float,
         smooth: bool = False) -> bpy.types.Object:
    """A crumpled ball of sheet material of `radius` metres."""
    profile = [(math.sin(t) * radius, radius - math.cos(t) * radius)
               for t in np.linspace(0, math.pi, 120)]
    ball = shapes.grid("ball", shapes.lathe_points(profile, 220), material, smooth=smooth)
    shapes.merge_doubles(ball)
    shapes.deform([ball], lambda p: p * [1, 1, 0.85] + offsets(p, rng, radius, radius * 0.3, 4))
    return ball


@variant("printed_paper", "a folded newspaper")
def folded_newspaper(rng: random.Random) -> Item:
    """A newspaper folded in half, some sheets thick."""
    width, depth, sheets = 0.2, 0.28, 7
    objects = []
    for index in range(sheets):
        image = labels.to_blender(labels.newspaper(rng, (1500, 1050)), "page")
        shader = materials.papery(materials.printed(image, 0.9), 0.001, 0.0005)
        radius = 0.0012 + 0.0011 * (sheets - 1 - index)
        bend = np.linspace(-np.pi / 2, np.pi / 2, 12)
        low = np.linspace(width + rng.gauss(0, 0.003), radius, 40)
        path = np.concatenate([
            np.stack([low, np.full(40, -radius)], 1),
            np.stack([radius - radius * np.cos(bend), radius * np.sin(bend)], 1),
            np.stack([low[::-1], np.full(40, radius)], 1)])
        y = np.linspace(-depth / 2, depth / 2, 50) + rng.gauss(0, 0.002)
        points = np.empty((len(y), len(path), 3))
        points[..., 0] = path[:, 0]
        points[..., 2] = path[:, 1]
        points[..., 1] = y[:, None]
        page = shapes.grid("page", points, shader.material)
        # Upper layers lift and curl towards the open side, the outermost one most.
        lift = (0.25 + 0.4 * (sheets - index) / sheets) * rng.uniform(0.7, 1.2)
        shapes.deform([page], lambda p, k=lift: p + np.stack([
            0 * p[:, 0], 0 * p[:, 0], np.where(
                p[:, 2] > 0, k * np.clip(p[:, 0] - 0.03, 0, None) ** 2 * 1.6, 0.0)], 1))
        objects.append(page)
    seed = rng.getrandbits(32)
    shapes.deform(objects, lambda p: p + np.stack([0 * p[:, 0], 0 * p[:, 0], 0.003 * waves(
        p * [1, 1, 0], random.Random(seed), 0.15, 2)], 1))
    return Item(objects, rise=FROM_ABOVE)


@variant("printed_paper", "a creased colour leaflet")
def creased_leaflet(rng: random.Random) -> Item:
    """A leaflet of 15 by 21 cm that was folded and crumpled once."""
    shader = materials.papery(
        materials.printed(labels.to_blender(labels.leaflet(rng), "leaflet"), 0.35), 0.0008, 0.0006)
    page = shapes.grid("leaflet", shapes.sheet_points(0.15, 0.21, 0.0016), shader.material)
    crumple([page], rng, 0.06, 0.004, 0.97)
    shapes.deform([page], lambda p: p + np.stack([
        0 * p[:, 0], 0 * p[:, 0], 0.22 * np.abs(p[:, 1]) + 0.8 * p[:, 0] ** 2], 1))
    return Item([page], rise=FROM_ABOVE)


@variant("printed_paper", "a crumpled newspaper page")
def crumpled_page(rng: random.Random) -> Item:
    """A page of newspaper crumpled into a loose lump."""
    image = labels.to_blender(labels.newspaper(rng), "page")
    shader = materials.papery(materials.printed(image, 0.9), 0.001, 0.001)
    return Item([lump(shader.material, rng, 0.05)])


def _bag(rng: random.Random, skin: bpy.types.Material) -> Objects:
    """A standing open paper bag of about 22 by 12 by 28 cm with a pinked rim."""
    half_x, half_y, top = 0.11, rng.uniform(0.045, 0.06), rng.uniform(0.24, 0.3)
    points = squared([(half_x, half_y, float(z)) for z in np.linspace(0, top, 90)], 60)
    points[-1, :, 2] += np.where(np.arange(points.shape[1]) % 2, 0.003, -0.003)
    height = points[..., 2] / top
    gusset = np.abs(points[..., 0]) >= half_x - 1e-6
    inward = np.clip(1 - np.abs(points[..., 1]) / half_y, 0, 1)
    points[..., 0] -= np.sign(points[..., 0]) * gusset * inward * height * 0.03
    body = shapes.grid("bag", points, skin, smooth=False)
    shapes.merge_doubles(body)
    floor = shapes.grid("floor", shapes.sheet_points(2 * half_x, 2 * half_y, 0.01), skin)
    objects = [body, floor]
    for sign in (-1, 1):
        path = shapes.smooth_path([(-0.04, 0, top - 0.05), (-0.04, 0, top - 0.01),
                                   (-0.03, sign * 0.01, top + 0.05),
                                   (0.03, sign * 0.01, top + 0.05),
                                   (0.04, 0, top - 0.01), (0.04, 0, top - 0.05)])
        handle = shapes.tube("handle", path, 0.0022, skin, 10)
        objects += shapes.place([handle], move=(0, sign * (half_y - 0.002), 0))
    return objects


@variant("paper_bag_wrap", "a brown paper carrier bag with handles")
def paper_bag(rng: random.Random) -> Item:
    """A standing or lying bag, creased."""
    skin = materials.kraft(0.0012).dirt(0.12, (0.25, 0.16, 0.08)).material
    objects = _bag(rng, skin)
    seed = rng.getrandbits(32)
    shapes.deform(objects, lambda p: p + offsets(p, random.Random(seed), 0.09, 0.009, 4)
                  * np.clip(p[:, 2:] / 0.08, 0.2, 1))
    if rng.random() < 0.4:
        shapes.deform(objects, lambda p: p * [1, 0.45, 1])
        shapes.place(objects, (90, 0, 0))
    return Item(objects, front=True)


@variant("paper_bag_wrap", "a crumpled sheet of brown wrapping paper")
def wrapping_paper(rng: random.Random) -> Item:
    """Crumpled kraft paper of about 30 cm."""
    sheet = shapes.grid("wrap", shapes.sheet_points(0.32, 0.26, 0.0018),
                        materials.kraft(0.0008).material, smooth=False)
    crumple([sheet], rng, 0.075, 0.017, 0.75)
    return Item([sheet], rise=FROM_ABOVE)


def _cup(rng: random.Random) -> Objects:
    """A paper cup of 80 mm at the rim by 95 mm, with a rolled lip and a coffee rest."""
    image = labels.to_blender(labels.package(
        rng, rng.choice(("COFFEE", "HOT DRINK", "TEA TO GO", "COCOA")), (1024, 420), 2), "cup")
    skin = materials.papery(materials.printed(image, 0.5), 0.001).dirt(0.15).material
    white = materials.paper((0.86, 0.84, 0.8), 0.001).set("Roughness", 0.35).dirt(
        0.45, (0.2, 0.1, 0.04), 0.03).material
    low, high, top = 0.0275, 0.0395, 0.095
    wall = shapes.lathe("wall", shapes.resampled([(low, 0.0), (high, top)], 0.003), skin)
    inner = shapes.lathe("inside", shapes.resampled(
        [(high - 0.0006, top), (low - 0.0002, 0.007), (0.0, 0.007)], 0.003), white)
    rest = shapes.lathe("rest", [(low - 0.0005, 0.0105), (0.0, 0.0105)],
                        materials.plain((0.09, 0.035, 0.012), 0.1).material)
    angle = np.linspace(0, 2 * np.pi, 97)
    rim = shapes.tube("rim", np.stack([high * np.cos(angle), high * np.sin(angle),
                                       np.full(97, top)], 1), 0.0019, white, 10)
    return [wall, inner, rim, rest]


@variant("coated_paper", "a used paper coffee cup standing")
def cup_standing(rng: random.Random) -> Item:
    """Used cup, slightly out of round."""
    objects = _cup(rng)
    squash = rng.uniform(0.0, 0.1)
    shapes.deform(objects, lambda p: p + np.stack(
        [p[:, 0] * squash * p[:, 2] / 0.1, -p[:, 1] * squash * p[:, 2] / 0.1, 0 * p[:, 0]], 1))
    return Item(objects)


@variant("coated_paper", "a dented paper coffee cup on its side")
def cup_lying(rng: random.Random) -> Item:
    """Dented cup lying down, empty."""
    objects = _cup(rng)
    bpy.data.objects.remove(objects.pop())
    seed, squash = rng.getrandbits(32), rng.uniform(0.15, 0.4)
    shapes.deform(objects, lambda p: p * [1, 1 - squash, 1]
                  + offsets(p, random.Random(seed), 0.04, 0.0045, 3))
    return Item(shapes.place(objects, (86, 0, 0)))


def _tissue_skin() -> bpy.types.Material:
    shader = materials.paper((0.88, 0.88, 0.87), 0.0018)
    shader.set("Subsurface Weight", 0.3)
    shader.bsdf.inputs["Subsurface Radius"].default_value = (0.006, 0.006, 0.006)
    dimples = shader.voronoi(0.0035)
    return shader.bump(dimples, 0.0006, 0.5).material


@variant("tissue", "a crumpled paper tissue")
def tissue(rng: random.Random) -> Item:
    """A used tissue, softly crumpled."""
    sheet = shapes.grid("tissue", shapes.sheet_points(0.2, 0.2, 0.0014), _tissue_skin())
    soft_folds([sheet], rng, (0.6, 0.55), 0.02)
    return Item([sheet])


@variant("tissue", "a crumpled sheet of kitchen paper with a stain")
def kitchen_paper(rng: random.Random) -> Item:
    """A sheet of kitchen paper, loosely crumpled and stained."""
    shader = materials.paper((0.86, 0.86, 0.84), 0.0018).dirt(0.55, (0.4, 0.2, 0.07), 0.04)
    shader.bump(shader.voronoi(0.008), 0.0012, 0.7)
    sheet = shapes.grid("paper", shapes.sheet_points(0.23, 0.22, 0.0015), shader.material)
    soft_folds([sheet], rng, (0.72, 0.68), 0.016)
    return Item([sheet], rise=FROM_ABOVE)
