"""Textiles, batteries and electronics, and metal goods other than cans."""

from __future__ import annotations

import math
import random

import bpy
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from . import labels, materials, shapes
from .fields import generator, offsets
from .items_glass import screw_lid
from .registry import FROM_ABOVE, Item, variant
from .shapes import Objects


def _fabric(rng: random.Random, striped: bool, thread: float = 0.0012) -> bpy.types.Material:
    colour = [c / 255 * 0.8 for c in labels.vivid(rng, value=rng.uniform(0.3, 0.7))]
    stripe = (0.75, 0.73, 0.68) if striped else None
    return materials.cloth(colour, stripe, thread).dirt(0.12).material


@variant("textile", "a folded striped cloth")
def folded_cloth(rng: random.Random) -> Item:
    """A cloth of several layers, folded to about 20 by 15 cm."""
    skin = _fabric(rng, True)
    width, depth, layers = 0.19, 0.15, 5
    pitch = 0.007
    path = []
    for layer in range(layers):
        z = layer * pitch
        x = np.linspace(-width / 2, width / 2, 60) * (1 - 0.012 * layer)
        path.append(np.stack([x[:: 1 if layer % 2 == 0 else -1], np.full(60, z)], 1))
        if layer < layers - 1:
            side = 1 if layer % 2 == 0 else -1
            bend = np.linspace(-np.pi / 2, np.pi / 2, 10)[1:-1]
            reach = width / 2 * (1 - 0.012 * layer) + np.cos(bend) * pitch / 2
            path.append(np.stack([side * reach, z + (1 + np.sin(bend)) * pitch / 2], 1))
    line = np.concatenate(path)
    y = np.linspace(-depth / 2, depth / 2, 60)
    points = np.empty((60, len(line), 3))
    points[..., 0], points[..., 2] = line[:, 0], line[:, 1]
    points[..., 1] = y[:, None] * (1 + 0.05 * np.sin(line[:, 0] * 25))
    cloth = shapes.solidify(shapes.grid("cloth", points, skin), 0.0028)
    seed = rng.getrandbits(32)
    shapes.deform([cloth], lambda p: p + offsets(p, random.Random(seed), 0.07, 0.004, 3, False)
                  + np.stack([0 * p[:, 0], 0 * p[:, 0], 0.9 * p[:, 2] * np.clip(
                      0.6 - np.abs(p[:, 0]) / 0.12, -0.5, 1) * 0.3], 1))
    return Item([shapes.subdivide(cloth)], rise=FROM_ABOVE)


@variant("textile", "a crumpled cotton rag")
def rag(rng: random.Random) -> Item:
    """A piece of cloth dropped in soft folds."""
    sheet = shapes.grid("rag", shapes.sheet_points(0.32, 0.28, 0.002), _fabric(rng, True))
    seed = rng.getrandbits(32)
    shapes.deform([sheet], lambda p: p * [0.62, 0.72, 1] + offsets(
        p, random.Random(seed), 0.06, 0.022, 2, False))
    return Item([shapes.solidify(sheet, 0.0018)], rise=FROM_ABOVE)


@variant("textile", "a single worn sock")
def sock(rng: random.Random) -> Item:
    """A knitted sock of about 22 cm, flat on the floor, with ribbing and coloured ends."""
    rough = shapes.smooth_path([(0, 0.02, 0), (0, -0.06, 0), (0, -0.11, 0), (0.012, -0.15, 0),
                                (0.05, -0.17, 0), (0.1, -0.175, 0), (0.18, -0.175, 0)], 4)
    length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(rough, axis=0), axis=1))])
    step = np.linspace(0, 1, 140)
    path = np.stack([np.interp(step * length[-1], length, axis) for axis in rough.T], 1)
    radius = 0.038 + 0.005 * np.exp(-((step - 0.5) / 0.12) ** 2) - 0.002 * step
    toe = np.clip((step - 0.88) / 0.12, 0, 1)
    radius = radius * np.sqrt(np.maximum(1 - toe**2, 0.002))
    colour = [c / 255 * 0.8 for c in labels.vivid(rng, value=0.5)]
    other = [c / 255 * 0.8 for c in labels.vivid(rng)]
    shader = materials.cloth(colour, None, 0.0009)
    along = shader.node("SeparateXYZ", {"0": shader.coordinates("UV")}).outputs["Y"]
    ends = shader.ramp(along, [(0.0, (1, 1, 1)), (0.08, (0, 0, 0)), (0.44, (1, 1, 1)),
                               (0.57, (0, 0, 0)), (0.86, (1, 1, 1))])
    ends.node.color_ramp.interpolation = "CONSTANT"
    shader.set("Base Color", shader.mix(ends, shader.base(), other))
    body = shapes.tube("sock", path, radius, shader.dirt(0.25).material, 64, 0.24)
    seed = rng.getrandbits(32)
    shapes.deform([body], lambda p: p + offsets(p, random.Random(seed), 0.045, 0.005, 4, False))
    return Item([shapes.subdivide(body)], rise=FROM_ABOVE)


def _cell(rng: random.Random) -> Objects:
    """A round cell of 14.5 mm by 50 mm with a two-coloured sleeve, standing."""
    top, foot = labels.vivid(rng), (25, 25, 27)
    image = Image.new("RGB", (512, 512), foot)
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 0, 512, rng.randint(120, 200)), top)
    for x in (40, 296):
        draw.text((x, 300), "1.5 V", (235, 235, 235), ImageFont.load_default(60))
        draw.text((x + 40, 40), "+", (255, 255, 255), ImageFont.load_default(90))
        draw.text((x, 220), labels.pseudo_words(rng, 1).upper(), (235, 235, 235),
                  ImageFont.load_default(54))
    sleeve = materials.printed(labels.to_blender(image, "cell"), 0.25, 0.3).material
    steel = materials.metal((0.75, 0.74, 0.7), 0.25).dirt(0.15, (0.3, 0.2, 0.1)).material
    body = shapes.lathe("sleeve", shapes.rounded(
        [(0.0062, 0.0006), (0.0072, 0.001), (0.0072, 0.0485), (0.0064, 0.0489)], 1), sleeve, 64)
    pole = shapes.lathe("plus", shapes.rounded(
        [(0.0064, 0.0489), (0.0028, 0.0486), (0.0028, 0.0502), (0.0, 0.0504)], 1), steel, 48)
    base = shapes.lathe("minus", [(0.0, 0.0), (0.0058, 0.0), (0.0062, 0.0006)], steel, 48)
    return [body, pole, base]


@variant("battery_electronics", "used round battery cells")
def cells(rng: random.Random) -> Item:
    """Four or five cells, one of them standing."""
    objects: Objects = []
    places = [(0.0, 0.0), (0.022, 0.012), (-0.026, 0.016), (0.004, -0.026)]
    for index, (x, y) in enumerate(places):
        cell = _cell(rng)
        if index:
            shapes.place(cell, (0, 0, rng.uniform(0, 360)))
            shapes.place(cell, (90, 0, 0), (0, 0.025, 0))
            shapes.place(cell, (0, 0, rng.uniform(-25, 25)))
        shapes.drop(cell)
        objects += shapes.place(cell, move=(x * 1.2, y if index else 0.045, 0))
    return Item(objects)


@variant("battery_electronics", "a coiled mains cable with its plug")
def cable(rng: random.Random) -> Item:
    """A loosely coiled cable with a two-pin plug at one end and a bare end at the other."""
    tone = rng.choice((0.02, 0.02, 0.8))
    skin = materials.plain((tone, tone, tone), 0.4).dirt(0.2, (0.3, 0.27, 0.22)).material
    gen = generator(rng)
    turns = np.linspace(0, 2 * np.pi * 3.3, 160)
    wobble = np.repeat(gen.uniform(0.9, 1.12, 20), 8)
    reach = 0.055 * np.convolve(np.pad(wobble, 8, "edge"), np.ones(17) / 17, "valid")
    coil = np.stack([reach * np.cos(turns), reach * np.sin(turns) * 0.85,
                     0.003 + 0.012 * turns / turns[-1] + 0.002 * np.sin(turns * 2.3)], 1)
    out = coil[-1] + (coil[-1] - coil[-2]) / np.linalg.norm(coil[-1] - coil[-2]) * 0.03
    bends = out + np.array([[0, 0, 0], [-0.012, 0.03, -0.008], [-0.008, 0.055, -0.009]])
    tail = shapes.smooth_path([coil[-1], *bends], 3)
    path = np.concatenate([coil, tail[1:]])
    objects = [shapes.tube("cable", path, 0.0032, skin, 14)]
    end, heading = path[-1], path[-1] - path[-4]
    plug = shapes.lathe("plug", shapes.rounded(
        [(0.0, 0.0), (0.0042, 0.0), (0.006, 0.012), (0.0155, 0.018), (0.0165, 0.038),
         (0.0165, 0.038), (0.0, 0.039)], 2), skin, 64, 3.0, 0.62)
    steel = materials.metal((0.78, 0.76, 0.7), 0.22).material
    parts = [plug]
    for sign in (-1, 1):
        pin = shapes.lathe("pin", shapes.rounded(
            [(0.0023, 0.038), (0.0023, 0.056), (0.0012, 0.0575), (0.0, 0.0575)], 1), steel, 24)
        parts += shapes.place([pin], move=(sign * 0.0095, 0, 0))
    shapes.place(parts, (-90, 0, math.degrees(math.atan2(heading[1], heading[0])) - 90), end)
    return Item(objects + parts, rise=FROM_ABOVE)


@variant("battery_electronics", "an old remote control")
def remote_control(rng: random.Random) -> Item:
    """A remote control of 45 by 150 mm with rubber keys."""
    tone = rng.choice((0.03, 0.03, 0.45))
    shell = materials.plain((tone, tone, tone + 0.005), 0.45).dirt(0.15, (0.3, 0.28, 0.25)).material
    objects = [shapes.box("shell", (0.046, 0.16, 0.018), shell, 0.006)]
    grey = materials.plain((0.5, 0.5, 0.52), 0.7).material
    red = materials.plain((0.7, 0.05, 0.04), 0.6).material
    for row in range(8):
        for column in range(3):
            skin = red if (row, column) == (0, 0) else grey
            key = shapes.box("key", (0.009, 0.0065, 0.0035), skin, 0.0012)
            objects += shapes.place([key], move=(
                (column - 1) * 0.0135, 0.062 - row * 0.0125, 0.0172))
    ring = shapes.lathe("ring", shapes.rounded(
        [(0.008, 0.0172), (0.0085, 0.0205), (0.015, 0.02), (0.0155, 0.0172)], 1), grey, 48)
    objects += shapes.place([ring], move=(0, -0.053, 0))
    return Item(objects, rise=FROM_ABOVE)


def _fork() -> bpy.types.Object:
    """A steel fork of 19 cm with four tines, lying along y."""
    rows, cols = 150, 49
    y, x = np.meshgrid(np.linspace(0.1, -0.09, rows), np.linspace(-1, 1, cols), indexing="ij")
    half = np.where(y > 0.03, 0.0125, 0.0035 + 0.0012 * np.clip(-y / 0.09, 0, 1) * 3)
    neck = np.clip((y - 0.015) / 0.025, 0, 1)
    half = np.where((y <= 0.04) & (y > 0.015), 0.0035 + 0.009 * neck**2 * (3 - 2 * neck), half)
    z = 0.004 + 0.012 * np.sin(np.clip((0.1 - y) / 0.09, 0, 1) * np.pi) * -0.6 + 0.012 * np.exp(
        -(((y + 0.0) / 0.045) ** 2))
    points = np.stack([x * half, y, z], axis=2)
    centre_x = (x[:-1, :-1] + x[1:, 1:]) / 2
    slots = (np.abs(np.sin((centre_x + 1) / 2 * 4 * np.pi)) < 0.42) & (np.abs(centre_x) < 0.9)
    keep = ~(slots & (y[:-1, :-1] > 0.055))
    steel = materials.metal((0.75, 0.74, 0.72), 0.16, (1, 0.05, 1)).dirt(0.15).material
    return shapes.subdivide(shapes.solidify(shapes.grid("fork", points, steel, keep), 0.002))


@variant("metal_other", "a steel fork and a screw lid")
def fork_and_lid(rng: random.Random) -> Item:
    """Cutlery and a jar lid side by side."""
    fork = _fork()
    shapes.drop([fork])
    lid = screw_lid(rng, 0.036)
    shapes.place(lid, (rng.choice((0, 180)), 0, 0))
    shapes.drop(lid)
    shapes.place(lid, move=(0.06, 0.02, 0))
    return Item([fork, *lid], rise=FROM_ABOVE)


@variant("metal_other", "screw lids and a crown cap of metal")
def lids(rng: random.Random) -> Item:
    """Three jar lids, one upside down."""
    objects: Objects = []
    for index, (x, y) in enumerate(((0, 0), (0.075, 0.02), (0.03, 0.07))):
        lid = screw_lid(rng, rng.uniform(0.028, 0.037))
        shapes.place(lid, (180 if index == 1 else 0, 0, 0))
        shapes.drop(lid)
        objects += shapes.place(lid, move=(x, y, 0))
    return Item(objects, rise=FROM_ABOVE)


@variant("metal_other", "an old steel saucepan")
def saucepan(rng: random.Random) -> Item:
    """An old pan of 16 cm with a steel handle."""
    steel = materials.metal((0.62, 0.6, 0.58), 0.3, (1, 1, 0.05)).dirt(
        rng.uniform(0.4, 0.7), (0.22, 0.08, 0.025), 0.02).material
    profile = shapes.resampled(shapes.rounded(
        [(0.0, 0.0), (0.074, 0.0), (0.078, 0.004), (0.079, 0.08), (0.079, 0.08), (0.082, 0.083)],
        2), 0.004)
    pan = shapes.solidify(shapes.lathe("pan", profile, steel), 0.0014, -1)
    handle = shapes.tube("handle", shapes.smooth_path(
        [(0.077, 0, 0.066), (0.1, 0, 0.07), (0.15, 0, 0.085), (0.21, 0, 0.09)]), 0.009,
        steel, 20, 0.35)
    return Item([pan, handle])
