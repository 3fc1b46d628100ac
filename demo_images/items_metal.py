"""Cans, foil and other metal items."""

from __future__ import annotations

import math
import random

import bpy
import numpy as np

from . import labels, materials, shapes
from .fields import Array, creases, offsets, waves
from .registry import FROM_ABOVE, Item, variant
from .shapes import Objects, Point

STEEL = (0.72, 0.71, 0.7)
ALUMINIUM = (0.84, 0.84, 0.85)


def can_print(rng: random.Random, words: tuple[str, ...], metallic: float,
              light: bool = False) -> bpy.types.Material:
    """A label around a can or bottle."""
    image = labels.to_blender(labels.package(rng, rng.choice(words), light=light), "label")
    shader = materials.printed(image, 0.3 if metallic else 0.5, metallic)
    return shader.dirt(rng.uniform(0.1, 0.4)).material


def rippled(profile: list[Point], low: float, high: float, pitch: float,
            depth: float) -> list[Point]:
    """The profile with stiffening ribs of `pitch` and `depth` metres between two heights."""
    fine = shapes.resampled(profile, pitch / 8)
    return [(r + depth * (math.cos((z - low) / pitch * 2 * math.pi) - 1) / 2
             if low < z < high and r > 0.01 else r, z) for r, z in fine]


def squeeze(objects: Objects, rng: random.Random, height: float, radius: float,
            amount: float) -> None:
    """Crush a standing can or bottle: knees in the wall, a dent, and some loss of height.

    `amount` runs from 0 (untouched) to 1 (flattened to about a half).
    """
    heading, bend = rng.uniform(0, 2 * math.pi), rng.uniform(0.35, 0.65) * height
    push = np.array([math.cos(heading), math.sin(heading)])
    noise_seed = rng.getrandbits(32)

    def change(points: Array) -> Array:
        local = random.Random(noise_seed)
        result = points.copy()
        middle = np.exp(-(((points[:, 2] - bend) / (0.3 * height)) ** 2))
        side = points[:, :2] @ push
        facing = np.clip(side / radius + 0.4, 0, 1.4)
        result[:, :2] -= push * (middle * facing * amount * radius * 0.95)[:, None]
        fold = creases(points, local, radius * 0.9, 3)
        outward = points[:, :2] / (np.linalg.norm(points[:, :2], axis=1, keepdims=True) + 1e-4)
        result[:, :2] += outward * (middle * fold * amount * radius * 0.3)[:, None]
        result[:, 0] += (points[:, 2] - bend) * math.cos(heading) * amount * 0.25
        result[:, 1] += (points[:, 2] - bend) * math.sin(heading) * amount * 0.25
        result[:, 2] *= 1 - 0.25 * amount * (0.7 + 0.3 * np.clip(side / radius, -1, 1))
        return result

    shapes.deform(objects, change)


def _drink_can(rng: random.Random) -> Objects:
    """A slim-lidded 0.33 litre can of 66 mm by 115 mm, opened."""
    wall = shapes.resampled(shapes.rounded(
        [(0.0255, 0.004), (0.0275, 0.003), (0.0325, 0.011), (0.033, 0.016), (0.033, 0.016),
         (0.033, 0.1), (0.033, 0.1), (0.0325, 0.103), (0.0275, 0.112), (0.0268, 0.113)], 2), 0.002)
    base = shapes.rounded([(0.0, 0.011), (0.018, 0.009), (0.024, 0.0), (0.0255, 0.004)], 2)
    lid = shapes.rounded([(0.0268, 0.113), (0.0285, 0.1152), (0.0272, 0.1162), (0.0262, 0.115),
                          (0.0245, 0.109), (0.0238, 0.109), (0.023, 0.1115), (0.0, 0.1115)], 2)
    words = ("LEMON FIZZ", "APPLE SODA", "MALT BEER", "TONIC", "COLA", "ICED TEA")
    bare = materials.metal(ALUMINIUM, 0.22, (1, 0.05, 1)).material
    objects = [shapes.lathe("wall", wall, can_print(rng, words, 0.7)),
               shapes.lathe("base", base, bare), shapes.lathe("lid", lid, bare)]
    mouth = [(0.0105, 0.0), (0.0, 0.0)]
    hole = shapes.lathe("hole", mouth, materials.plain((0.01, 0.01, 0.01), 0.9).material,
                        aspect=0.8)
    objects += shapes.place([hole], move=(0.0105, 0, 0.1118))
    ring = shapes.tube("tab", np.array([(0.009 * math.cos(a), 0.007 * math.sin(a), 0) for a in
                                        np.linspace(0, 2 * math.pi, 25)]), 0.0022, bare, 8, 0.35)
    plate = shapes.box("rivet", (0.012, 0.009, 0.0012), bare, 0.0005)
    objects += shapes.place([ring], (0, rng.uniform(-12, 0), 0), (-0.009, 0, 0.1136))
    objects += shapes.place([plate], move=(0.001, 0, 0.1122))
    return objects


@variant("drink_can", "an empty printed drink can lying on its side, dented")
def drink_can_lying(rng: random.Random) -> Item:
    """Dented can on its side."""
    objects = _drink_can(rng)
    squeeze(objects, rng, 0.115, 0.033, rng.uniform(0.25, 0.5))
    return Item(shapes.place(objects, (90, rng.uniform(0, 360), 0)))


@variant("drink_can", "an empty printed drink can standing, lightly dented")
def drink_can_standing(rng: random.Random) -> Item:
    """Standing can."""
    objects = _drink_can(rng)
    squeeze(objects, rng, 0.115, 0.033, rng.uniform(0.02, 0.15))
    return Item(shapes.place(objects, (rng.uniform(-2, 2), 0, 0)))


@variant("drink_can", "a crushed drink can")
def drink_can_crushed(rng: random.Random) -> Item:
    """Strongly crushed can on its side."""
    objects = _drink_can(rng)
    squeeze(objects, rng, 0.115, 0.033, rng.uniform(0.7, 0.95))
    return Item(shapes.place(objects, (90, rng.uniform(0, 360), 0)))


def _food_can(rng: random.Random, labelled: bool) -> Objects:
    """A 73 mm by 110 mm food can with a lid bent up on its last stretch of seam."""
    bare = materials.metal(STEEL, 0.25, (1, 1, 0.04)).dirt(0.25, (0.25, 0.12, 0.05)).material
    outline = [(0.0, 0.003), (0.0345, 0.003), (0.0345, 0.0), (0.0372, 0.0), (0.0372, 0.003),
               (0.0365, 0.004), (0.0365, 0.106), (0.0372, 0.107), (0.0372, 0.11), (0.035, 0.11)]
    inner = [(0.035, 0.11), (0.0355, 0.105), (0.0355, 0.005), (0.0, 0.005)]
    objects = [shapes.lathe("body", rippled(outline, 0.022, 0.09, 0.0068, 0.0013), bare),
               shapes.lathe("inside", rippled(inner, 0.022, 0.09, 0.0068, 0.0013), bare)]
    if labelled:
        words = ("TOMATOES", "SOUP", "SWEETCORN", "CHICKPEAS", "BEANS", "PEACHES")
        skin = can_print(rng, words, 0.0, rng.random() < 0.4)
        objects.append(shapes.lathe("label", shapes.resampled(
            [(0.0368, 0.014), (0.0368, 0.098)], 0.004), skin))
    return objects


def _jagged_lid(rng: random.Random, radius: float) -> bpy.types.Object:
    """A can lid with pressed rings and a slightly jagged cut edge."""
    profile = shapes.resampled([(0.0, 0.0), (radius, 0.0)], 0.00125)
    points = shapes.lathe_points(profile, 90)
    distance = np.hypot(points[..., 0], points[..., 1])
    points[..., 2] = 0.0008 * np.cos(distance / radius * 5 * np.pi) * (distance > 0.35 * radius)
    wobble = 1 + 0.02 * waves(points[-1], rng, 0.006, 2)
    points[-1, :, :2] *= wobble[:, None]
    points[-1, -1] = points[-1, 0]
    lid = shapes.grid("lid", points, materials.metal(STEEL, 0.22).material)
    shapes.merge_doubles(lid)
    return shapes.solidify(lid, 0.0003)


@variant("food_can", "an opened food can with a paper label and its lid bent up")
def food_can_labelled(rng: random.Random) -> Item:
    """Standing opened can with a label."""
    objects = _food_can(rng, True)
    squeeze(objects, rng, 0.11, 0.0365, rng.uniform(0.0, 0.12))
    lid = _jagged_lid(rng, 0.034)
    shapes.place([lid], move=(0.034, 0, 0))
    shapes.place([lid], (0, -rng.uniform(60, 100), 0), (-0.035, 0, 0.109))
    return Item([*objects, lid])


@variant("food_can", "a bare ribbed food can on its side")
def food_can_bare(rng: random.Random) -> Item:
    """Bare can lying down with the lid bent open."""
    objects = _food_can(rng, False)
    squeeze(objects, rng, 0.11, 0.0365, rng.uniform(0.1, 0.3))
    lid = _jagged_lid(rng, 0.034)
    shapes.place([lid], move=(0.034, 0, 0))
    shapes.place([lid], (0, -rng.uniform(50, 90), 0), (-0.035, 0, 0.109))
    return Item(shapes.place([*objects, lid], (90, rng.uniform(0, 360), 0)))


@variant("foil", "a loosely crumpled ball of household foil")
def foil_ball(rng: random.Random) -> Item:
    """A crumpled lump of about 7 cm."""
    points = shapes.lathe_points([(math.sin(t) * 0.035, 0.035 - math.cos(t) * 0.035)
                                  for t in np.linspace(0, math.pi, 120)], 220)
    ball = shapes.grid("ball", points, materials.foil(0.005).material, smooth=False)
    shapes.merge_doubles(ball)
    shapes.deform([ball], lambda p: p * [1, 1, 0.8] + offsets(p, rng, 0.03, 0.011, 4))
    return Item([ball])


@variant("foil", "a crumpled sheet of household foil")
def foil_sheet(rng: random.Random) -> Item:
    """A torn and crumpled sheet of about 25 cm."""
    points = shapes.sheet_points(0.26, 0.22, 0.0016)
    sheet = shapes.grid("sheet", points, materials.foil(0.009).material, smooth=False)

    def crumple(p: Array) -> Array:
        moved = p * [0.85, 0.85, 1] + offsets(p, rng, 0.06, 0.011, 4)
        radius = np.linalg.norm(p[:, :2], axis=1)
        moved[:, 2] += 2.2 * radius**2 + np.abs(creases(p, rng, 0.08, 4)) * 0.02
        return moved

    shapes.deform([sheet], crumple)
    return Item([sheet], rise=FROM_ABOVE)


@variant("foil", "a used foil tray with ribbed walls")
def foil_tray(rng: random.Random) -> Item:
    """A take-away tray of 20 cm by 14 cm with a rolled rim."""
    profile = shapes.resampled(shapes.rounded(
        [(0.0, 0.0), (0.07, 0.0), (0.07, 0.0), (0.088, 0.042), (0.088, 0.042), (0.096, 0.043),
         (0.097, 0.041), (0.094, 0.0405)], 2), 0.0025)
    points = shapes.lathe_points(profile, 360, power=5, aspect=0.72)
    angle = np.linspace(0, 2 * np.pi, 361)
    wall = np.clip(points[..., 2] / 0.03, 0, 1) * (points[..., 2] < 0.0415)
    points[..., :2] *= 1 + 0.008 * (np.cos(angle * 64)[None, :] * wall)[..., None]
    tray = shapes.grid("tray", points, materials.foil(0.012).dirt(0.5, (0.3, 0.12, 0.03)).material)
    shapes.merge_doubles(tray)
    shapes.deform([tray], lambda p: p + offsets(p, rng, 0.07, 0.0035, 3))
    return Item([tray])


@variant("aerosol_can", "a printed aerosol can with a spray nozzle, lying on its side")
def aerosol_lying(rng: random.Random) -> Item:
    """Spray can on its side, without its cap."""
    objects = _aerosol(rng)
    shapes.place(objects, (90, rng.uniform(0, 360), 0))
    return Item(shapes.place(objects, (0, 0, rng.choice((90, -90)))), front=True)


@variant("aerosol_can", "a standing aerosol can with a spray nozzle")
def aerosol_standing(rng: random.Random) -> Item:
    """Spray can standing."""
    return Item(_aerosol(rng))


def _aerosol(rng: random.Random) -> Objects:
    """A spray can of 53 mm by 190 mm with a domed top, valve cup and button."""
    bare = materials.metal(STEEL, 0.2).dirt(0.2, (0.3, 0.14, 0.06)).material
    words = ("HAIR SPRAY", "PAINT", "DEO", "AIR FRESH", "POLISH")
    wall = shapes.resampled([(0.0262, 0.004), (0.0262, 0.15)], 0.003)
    foot = shapes.rounded([(0.0, 0.008), (0.02, 0.006), (0.024, 0.0), (0.0272, 0.0),
                           (0.0272, 0.003), (0.0262, 0.004)], 1)
    dome = shapes.rounded([(0.0262, 0.15), (0.0275, 0.151), (0.0272, 0.154), (0.0255, 0.155),
                           (0.022, 0.164), (0.015, 0.171), (0.0162, 0.173), (0.0158, 0.1765),
                           (0.0125, 0.1765), (0.0115, 0.171), (0.006, 0.171), (0.005, 0.175),
                           (0.0, 0.175)], 2)
    button = shapes.rounded([(0.0, 0.174), (0.0068, 0.174), (0.0068, 0.174), (0.0066, 0.187),
                             (0.0066, 0.187), (0.004, 0.189), (0.0, 0.1885)], 2)
    white = materials.plain((0.85, 0.85, 0.83)).material
    orifice = shapes.lathe("orifice", [(0.0, 0.0), (0.0016, 0.0), (0.0016, 0.0008), (0.0, 0.0008)],
                           materials.plain((0.02, 0.02, 0.02)).material, 24)
    shapes.place([orifice], (0, 90, 0), (0.0062, 0, 0.183))
    return [shapes.lathe("wall", wall, can_print(rng, words, 0.4)),
            shapes.lathe("foot", foot, bare), shapes.lathe("dome", dome, bare),
            shapes.lathe("button", button, white), orifice]
