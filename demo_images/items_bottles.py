"""Plastic bottles, clear and opaque."""

from __future__ import annotations

import random

import bpy
import numpy as np

from . import materials, shapes
from .items_fibre import screw_cap
from .items_metal import can_print, rippled, squeeze
from .registry import Item, variant
from .shapes import Objects

CLEAR_WORDS = ("WATER", "LEMONADE", "ICED TEA", "SPORT", "TONIC")
OPAQUE_WORDS = ("SHAMPOO", "DISH SOAP", "LAUNDRY", "SHOWER", "CLEANER")
OPAQUE_COLOURS = ((0.85, 0.85, 0.82), (0.1, 0.32, 0.62), (0.75, 0.3, 0.05), (0.12, 0.45, 0.25),
                  (0.7, 0.12, 0.3), (0.85, 0.7, 0.1))


def neck(radius: float, base: float, material: bpy.types.Material) -> Objects:
    """A threaded bottle neck from height `base`, 22 mm long, with its carrying ring."""
    profile = shapes.rounded(
        [(radius, base), (radius * 1.25, base + 0.002), (radius * 1.25, base + 0.0035),
         (radius, base + 0.005), (radius, base + 0.008), (radius * 1.08, base + 0.010),
         (radius, base + 0.012), (radius * 1.08, base + 0.014), (radius, base + 0.016),
         (radius, base + 0.022), (radius * 0.86, base + 0.022), (radius * 0.86, base)], 1)
    return [shapes.lathe("neck", profile, material, 64)]


def _clear_bottle(rng: random.Random) -> Objects:
    """A half-litre drink bottle of 64 mm by 215 mm with a five-lobed foot."""
    tint = rng.choice(((0.95, 0.97, 0.98), (0.72, 0.88, 0.97), (0.78, 0.94, 0.82)))
    skin = materials.clear_film(tint, 0.05, rng.uniform(0.03, 0.1), 0.0012).material
    outline = shapes.rounded(
        [(0.0, 0.006), (0.014, 0.002), (0.024, 0.0), (0.031, 0.012), (0.032, 0.02), (0.032, 0.075),
         (0.032, 0.075), (0.0295, 0.078), (0.0295, 0.12), (0.032, 0.123), (0.032, 0.14),
         (0.03, 0.158), (0.02, 0.178), (0.0125, 0.19), (0.0125, 0.193)], 2)
    outline = rippled(outline, 0.022, 0.074, 0.0125, 0.0022)
    points = shapes.lathe_points(outline, 120)
    angle = np.linspace(0, 2 * np.pi, 121)
    foot = np.clip(1 - points[..., 2] / 0.022, 0, 1) ** 1.5
    radius = np.hypot(points[..., 0], points[..., 1])
    points[..., 2] += foot * 0.006 * (np.cos(angle * 5) < -0.2) * np.clip(radius / 0.02, 0, 1)
    body = shapes.grid("bottle", points, skin)
    shapes.merge_doubles(body)
    objects = [body, *neck(0.0125, 0.193, skin)]
    if rng.random() < 0.8:
        band = shapes.resampled([(0.0299, 0.081), (0.0299, 0.118)], 0.003)
        objects.append(shapes.lathe("label", band, can_print(rng, CLEAR_WORDS, 0.0)))
    if rng.random() < 0.8:
        objects += shapes.place(screw_cap(rng), move=(0, 0, 0.2))
    return objects


@variant("clear_plastic_bottle", "a clear plastic drink bottle lying on its side, squeezed")
def clear_bottle_lying(rng: random.Random) -> Item:
    """Squeezed bottle on its side."""
    objects = _clear_bottle(rng)
    squeeze(objects, rng, 0.2, 0.032, rng.uniform(0.2, 0.6))
    shapes.place(objects, (90, rng.uniform(0, 360), 0))
    return Item(shapes.place(objects, (0, 0, rng.choice((90, -90)))), front=True)


@variant("clear_plastic_bottle", "a clear plastic drink bottle standing")
def clear_bottle_standing(rng: random.Random) -> Item:
    """Almost whole bottle, standing."""
    objects = _clear_bottle(rng)
    squeeze(objects, rng, 0.2, 0.032, rng.uniform(0.0, 0.15))
    return Item(objects)


def _opaque_bottle(rng: random.Random) -> Objects:
    """A flat-sided household bottle of about 85 mm by 50 mm by 230 mm."""
    colour = rng.choice(OPAQUE_COLOURS)
    shader = materials.plain(colour, 0.32, subsurface_weight=0.1)
    skin = shader.dirt(0.2).material
    height = rng.uniform(0.15, 0.21)
    outline = shapes.resampled(shapes.rounded(
        [(0.0, 0.003), (0.034, 0.003), (0.038, 0.0), (0.042, 0.008), (0.0425, 0.02),
         (0.041, height * 0.6), (0.042, height * 0.8), (0.036, height * 0.93),
         (0.018, height * 0.99), (0.0135, height), (0.0135, height + 0.004)], 3), 0.004)
    body = shapes.lathe("bottle", outline, skin, 120, rng.uniform(2.3, 3.2), 0.58)
    band = [(r + 0.0004, z) for r, z in outline if 0.02 < z < height * 0.75]
    label = shapes.lathe("label", band, can_print(rng, OPAQUE_WORDS, 0.0, True), 120, 2.7, 0.58)
    objects = [body, *neck(0.0135, height + 0.002, skin)]
    objects += _closure(rng, height)
    fit_label(body, label)
    return [*objects, label]


def fit_label(body: bpy.types.Object, label: bpy.types.Object) -> None:
    """Shrink-wrap the label 0.3 mm above the body."""
    modifier = label.modifiers.new("fit", "SHRINKWRAP")
    modifier.target = body
    modifier.wrap_method = "NEAREST_SURFACEPOINT"
    modifier.wrap_mode = "ABOVE_SURFACE"
    modifier.offset = 0.0003


def _closure(rng: random.Random, height: float) -> Objects:
    """A flip-top cap or a trigger-less pump on a bottle whose neck starts at `height`."""
    colour = rng.choice(((0.88, 0.88, 0.86), (0.08, 0.08, 0.09), (0.75, 0.1, 0.1)))
    skin = materials.plain(colour, 0.35).material
    cap = shapes.lathe("cap", shapes.rounded(
        [(0.0, height + 0.004), (0.0195, height + 0.004), (0.0195, height + 0.004),
         (0.0185, height + 0.032), (0.0185, height + 0.032), (0.0, height + 0.034)], 2), skin)
    if rng.random() < 0.5:
        return [cap]
    stem = shapes.lathe("stem", [(0.005, height + 0.03), (0.005, height + 0.055)], skin, 32)
    spout = shapes.tube("spout", shapes.smooth_path(
        [(-0.012, 0, height + 0.058), (0.012, 0, height + 0.06), (0.03, 0, height + 0.058),
         (0.042, 0, height + 0.05)]), 0.0065, skin)
    return [cap, stem, spout]


@variant("opaque_plastic_bottle", "an opaque plastic household bottle standing")
def opaque_bottle_standing(rng: random.Random) -> Item:
    """Standing bottle with a cap or pump."""
    return Item(_opaque_bottle(rng), front=True)


@variant("opaque_plastic_bottle", "an opaque plastic household bottle on its side")
def opaque_bottle_lying(rng: random.Random) -> Item:
    """Bottle lying on its flat side."""
    bottle = shapes.place(_opaque_bottle(rng), (90, 0, 0))
    return Item(shapes.place(bottle, (0, 0, rng.choice((90, -90)))), front=True)
