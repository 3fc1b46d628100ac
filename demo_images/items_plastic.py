"""Plastic tubs and trays, foam and film."""

from __future__ import annotations

import math
import random

import bpy
import numpy as np

from . import labels, materials, shapes
from .fields import Array, generator, offsets
from .items_paper import crumple
from .registry import FROM_ABOVE, Item, variant
from .shapes import Objects


@variant("plastic_tub_tray", "an empty yoghurt tub with its lid film half off")
def yoghurt_tub(rng: random.Random) -> Item:
    """A thin white tub of 95 mm at the rim, with food rests and a printed wall."""
    image = labels.to_blender(labels.package(
        rng, rng.choice(("YOGHURT", "CURD", "DESSERT", "DIP")), (1024, 420), 2, True), "tub")
    skin = materials.printed(image, 0.3).material
    white = materials.plain((0.88, 0.87, 0.84), 0.3).dirt(0.4, (0.75, 0.6, 0.45), 0.02).material
    low, high, top = 0.031, 0.0425, rng.uniform(0.075, 0.11)
    wall = shapes.lathe("wall", shapes.resampled(
        [(low, 0.0), (low + 0.001, 0.004), (high, top - 0.006), (high, top)], 0.004), skin)
    inner = shapes.lathe("inside", shapes.resampled(shapes.rounded(
        [(high - 0.0006, top), (low - 0.0004, 0.004), (low - 0.0004, 0.004), (0.0, 0.003)], 2),
        0.004), white)
    rim = shapes.lathe("rim", shapes.rounded(
        [(high - 0.0006, top), (high + 0.0045, top + 0.0006), (high + 0.005, top - 0.0016),
         (high + 0.0042, top - 0.002)], 1), white)
    cover = shapes.lathe_points(shapes.resampled([(0.0, 0.0), (high + 0.004, 0.0)], 0.003), 72)
    lid = shapes.grid("film", cover, materials.foil(0.012).material)
    shapes.solidify(lid, 0.0002)
    seed = rng.getrandbits(32)
    shapes.deform([lid], lambda p: p + np.stack([
        -0.25 * (p[:, 0] + 0.045), 0 * p[:, 0], 7 * (p[:, 0] + 0.045) ** 2], 1)
        + offsets(p, random.Random(seed), 0.03, 0.0012, 2))
    shapes.place([lid], move=(0, 0, top + 0.001))
    objects = [wall, inner, rim, lid]
    if rng.random() < 0.4:
        shapes.place(objects, (80, 0, rng.uniform(0, 360)))
    return Item(objects)


@variant("plastic_tub_tray", "an empty deep-drawn plastic food tray")
def food_tray(rng: random.Random) -> Item:
    """A deep-drawn tray of 19 by 13 cm with ribs in its floor."""
    profile = shapes.resampled(shapes.rounded(
        [(0.0, 0.001), (0.066, 0.001), (0.07, 0.0), (0.074, 0.003), (0.084, 0.036),
         (0.084, 0.036), (0.093, 0.037), (0.0935, 0.034), (0.0925, 0.0335)], 2), 0.0025)
    points = shapes.lathe_points(profile, 240, 5.5, 0.7)
    ribs = (points[..., 2] < 0.002) * (np.abs(points[..., 0]) < 0.052)
    points[..., 2] += 0.0025 * ribs * (np.cos(points[..., 0] / 0.013 * 2 * np.pi) > 0.3)
    colour = rng.choice(((0.012, 0.012, 0.013), (0.75, 0.75, 0.73), (0.02, 0.05, 0.12)))
    skin = materials.plain(colour, 0.25).dirt(0.3, (0.35, 0.18, 0.1), 0.015).material
    tray = shapes.grid("tray", points, skin)
    shapes.merge_doubles(tray)
    seed = rng.getrandbits(32)
    shapes.deform([tray], lambda p: p + offsets(p, random.Random(seed), 0.12, 0.002, 2, False))
    return Item([shapes.solidify(tray, 0.0005)])


@variant("plastic_tub_tray", "a clear plastic berry punnet")
def clear_punnet(rng: random.Random) -> Item:
    """A clear tray of 17 by 11 cm with ribbed walls."""
    profile = shapes.resampled(shapes.rounded(
        [(0.0, 0.0), (0.058, 0.0), (0.058, 0.0), (0.074, 0.06), (0.074, 0.06), (0.084, 0.061),
         (0.084, 0.057)], 2), 0.0025)
    points = shapes.lathe_points(profile, 300, 4.5, 0.68)
    angle = np.linspace(0, 2 * np.pi, 301)
    wall = (points[..., 2] > 0.006) * (points[..., 2] < 0.05)
    points[..., :2] *= 1 + 0.018 * (np.cos(angle * 30)[None, :] * wall)[..., None]
    tray = shapes.grid("punnet", points,
                       materials.clear_film((0.93, 0.96, 0.97), 0.05, rng.uniform(0.04, 0.12),
                                            0.0004).material)
    shapes.merge_doubles(tray)
    return Item([tray])


@variant("plastic_foam", "a broken corner block of white packing foam with loose beads")
def foam_block(rng: random.Random) -> Item:
    """An L-shaped packing corner with a broken face and beads around it."""
    skin = materials.foam(bead=0.0045).material
    base = shapes.box("block", (0.17, 0.12, 0.035), skin, 0.004)
    upright = shapes.box("block", (0.04, 0.12, 0.07), skin, 0.004)
    shapes.place([upright], move=(-0.065, 0, 0.034))
    rib = shapes.box("block", (0.13, 0.03, 0.05), skin, 0.004)
    shapes.place([rib], move=(0.005, 0.045, 0.03))
    objects = [base, upright, rib]
    for obj in objects:
        _break_up(obj, rng, 0.002)
    for obj in (rib, base):
        _jag(obj, rng)
    return Item(objects + _beads(rng, skin, 26, 0.09))


def _break_up(obj: bpy.types.Object, rng: random.Random, amount: float) -> None:
    """Remesh a block to 3 mm and roughen it by `amount` metres."""
    modifier = obj.modifiers.new("fine", "REMESH")
    modifier.mode, modifier.voxel_size = "VOXEL", 0.003
    modifier.use_smooth_shade = True
    graph = bpy.context.evaluated_depsgraph_get()
    obj.data = bpy.data.meshes.new_from_object(obj.evaluated_get(graph))
    obj.modifiers.clear()
    shapes.deform([obj], lambda p: p + offsets(p, rng, 0.012, amount * 0.5, 2, False))


def _jag(obj: bpy.types.Object, rng: random.Random) -> None:
    """Break the +x end off unevenly."""
    seed = rng.getrandbits(32)

    def change(points: Array) -> Array:
        end = points[:, 0].max()
        near = np.clip((points[:, 0] - end + 0.035) / 0.035, 0, 1)
        bite = 0.018 + offsets(points * [0, 1, 1], random.Random(seed), 0.02, 0.016, 4)[:, 0]
        return points - np.stack([near * bite, 0 * near, 0 * near], 1)

    shapes.deform([obj], change)


def _beads(rng: random.Random, skin: bpy.types.Material, count: int, spread: float) -> Objects:
    """Loose foam beads of 3 to 6 mm on the floor."""
    gen = generator(rng)
    objects = []
    for _ in range(count):
        radius = gen.uniform(0.0014, 0.003)
        profile = [(math.sin(t) * radius, radius - math.cos(t) * radius)
                   for t in np.linspace(0, math.pi, 10)]
        bead = shapes.lathe("bead", profile, skin, 14)
        x, y = gen.normal(0, spread * 0.6, 2) * [1, 0.8]
        objects += shapes.place([bead], move=(float(x), float(y), 0))
    return objects


@variant("plastic_foam", "a foam take-away box, open")
def foam_clamshell(rng: random.Random) -> Item:
    """A hinged foam box of 14 cm with food rests."""
    profile = shapes.resampled(shapes.rounded(
        [(0.0, 0.0), (0.052, 0.0), (0.056, 0.001), (0.066, 0.034), (0.066, 0.034),
         (0.072, 0.035), (0.072, 0.031)], 2), 0.003)
    skin = materials.foam((0.9, 0.88, 0.83), 0.0022).dirt(0.42, (0.45, 0.2, 0.05), 0.02).material
    objects = []
    for index in range(2):
        half = shapes.grid("half", shapes.lathe_points(profile, 120, 5.0, 1.0), skin)
        shapes.merge_doubles(half)
        shapes.solidify(half, 0.0028)
        if index:
            shapes.place([half], move=(0, -0.072, -0.035))
            shapes.place([half], (180 + rng.uniform(60, 85), 0, 0), (0, 0.072, 0.035))
            shapes.place([half], move=(0, 0.002, 0))
        objects.append(half)
    return Item(objects, front=True)


def _bag_film(colour: tuple[float, float, float], clear: float) -> bpy.types.Material:
    """Thin coloured film that lets light through; `clear` is the see-through part."""
    shader = materials.plain(colour, 0.18)
    shader.bump(shader.noise(0.014, 4), 0.0012, 0.6)
    glow = shader.node("BsdfTranslucent", {"Color": (*colour, 1)})
    body = shader.node("MixShader", {"0": 0.4, "1": shader.bsdf.outputs[0], "2": glow.outputs[0]})
    gap = shader.node("BsdfTransparent", {"Color": (0.95, 0.95, 0.95, 1)})
    return shader.surface(shader.node("MixShader", {
        "0": clear, "1": body.outputs[0], "2": gap.outputs[0]})).material


@variant("plastic_film", "a crumpled plastic carrier bag with handles")
def carrier_bag(rng: random.Random) -> Item:
    """A thin bag of 26 by 40 cm with two loop handles, lying crumpled."""
    colour = rng.choice(((0.85, 0.85, 0.86), (0.85, 0.85, 0.86), (0.75, 0.2, 0.15),
                         (0.2, 0.4, 0.7)))
    skin = _bag_film(colour, rng.uniform(0.25, 0.4))
    objects = []
    for layer in range(2):
        points = shapes.sheet_points(0.26, 0.4, 0.0022)
        x, y = points[:-1, :-1, 0], points[:-1, :-1, 1]
        # The mouth is a deep U between the handles.
        mouth = (np.abs(x) < 0.065) & (y > 0.05 + 0.05 * (np.abs(x) / 0.065) ** 3)
        slope = (np.abs(x) > 0.115) & (y > 0.08)
        sheet = shapes.grid("bag", points, skin, ~(mouth | slope))
        shapes.place([sheet], move=(0.004 * layer, 0.003 * layer, 0.008 * layer))
        crumple([sheet], rng, 0.11, 0.013, 0.85)
        objects.append(sheet)
    return Item(objects, rise=FROM_ABOVE)


@variant("plastic_film", "a crumpled piece of clear plastic film")
def clear_wrap(rng: random.Random) -> Item:
    """Clear packing film drawn together."""
    skin = materials.clear_film((0.95, 0.97, 0.98), 0.07, 0.12, 0.0012).material
    sheet = shapes.grid("film", shapes.sheet_points(0.28, 0.26, 0.0016), skin)
    crumple([sheet], rng, 0.055, 0.017, 0.65)
    return Item([sheet])


@variant("plastic_film", "an empty printed snack packet")
def snack_packet(rng: random.Random) -> Item:
    """A flattened pillow pack with crimped ends, silver inside."""
    width, length = 0.13, 0.19
    word = rng.choice(("CRISPS", "NUTS", "CRACKERS", "PRETZELS", "SWEETS"))
    image = labels.to_blender(labels.package(rng, word, (700, 1000), 1), "packet")
    objects = []
    for side, rough in ((1, 0.22), (-1, 0.3)):
        skin = materials.printed(image, rough, 0.35)
        skin.bump(skin.noise(0.008, 5), 0.0015, 0.8)
        points = shapes.sheet_points(width, length, 0.0016)
        x, y = points[..., 0] / width * 2, points[..., 1] / length * 2
        bulge = np.clip(1 - x**4, 0, 1) ** 0.5 * np.clip(1 - (np.abs(y) / 0.88) ** 3, 0, 1)
        points[..., 2] = side * 0.013 * bulge
        crimp = np.abs(y) > 0.88
        points[..., 2] += 0.0006 * crimp * np.sin(points[..., 1] / 0.0022 * 2 * np.pi)
        points[..., 1] += (np.abs(y) > 0.995) * 0.0012 * np.sign(
            np.sin(points[..., 0] / 0.0032 * 2 * np.pi))
        objects.append(shapes.grid("side", points, skin.material))
    seed = rng.getrandbits(32)
    shapes.deform(objects, lambda p: p * [0.93, 0.95, 1]
                  + offsets(p, random.Random(seed), 0.04, 0.0055, 4))
    return Item(objects, rise=FROM_ABOVE)
