"""Boards and boxes: corrugated cardboard, paperboard, moulded fibre, drink cartons."""

from __future__ import annotations

import math
import random

import bpy
import numpy as np
from PIL import Image

from . import labels, materials, shapes
from .fields import Array, offsets, waves
from .registry import FROM_ABOVE, Item, variant
from .shapes import Objects

CARTON_WORDS = ("OAT DRINK", "MILK", "APPLE JUICE", "CREAM", "ORANGE")
BOX_WORDS = ("CEREAL", "CRACKERS", "RICE", "TEA BAGS", "BISCUITS")


def corrugated(width: float, length: float, skin: bpy.types.Material,
               core: bpy.types.Material, height: float = 0.0045,
               pitch: float = 0.008) -> Objects:
    """A board with open flutes that run along its `length` (y), standing on z = 0."""
    x = np.arange(-width / 2, width / 2, pitch / 8)
    y = np.linspace(-length / 2, length / 2, max(4, round(length / 0.012)))
    gx, gy = np.meshgrid(x, y)
    wave = height / 2 * (1 + 0.92 * np.sin(gx / pitch * 2 * np.pi))
    flutes = shapes.grid("flutes", np.stack([gx, gy, wave], 2), core)
    shapes.solidify(flutes, 0.00035)
    objects = [flutes]
    for level in (0.0, height):
        # The liners sink a little between the flutes, which shows as faint stripes.
        washboard = level + 0.00022 * np.sin(gx / pitch * 2 * np.pi + (np.pi if level else 0))
        liner = shapes.grid("liner", np.stack([gx, gy, washboard], 2), skin, smooth=False)
        objects.append(shapes.solidify(liner, 0.0005))
    return objects


def _board_materials(rng: random.Random) -> tuple[bpy.types.Material, bpy.types.Material]:
    skin = materials.kraft(0.0008).dirt(rng.uniform(0.1, 0.35), (0.2, 0.13, 0.07))
    return skin.material, materials.kraft().material


@variant("corrugated_cardboard", "an open corrugated cardboard box with brown tape")
def cardboard_box(rng: random.Random) -> Item:
    """A shipping box of about 30 cm with four raised flaps."""
    skin, core = _board_materials(rng)
    width, depth, height = rng.uniform(0.24, 0.34), rng.uniform(0.18, 0.25), rng.uniform(0.12, 0.2)
    objects = [shapes.box("bottom", (width, depth, 0.004), skin)]
    for turn, wide, away in ((0, width, depth), (90, depth, width), (180, width, depth),
                             (270, depth, width)):
        wall = corrugated(wide, height, skin, core)
        shapes.place(wall, (90, 0, 0), (0, -away / 2 + 0.002, height / 2))
        flap_length = min(width, depth) * 0.48
        flap = corrugated(wide * 0.98, flap_length, skin, core)
        shapes.place(flap, move=(0, -flap_length / 2, 0))
        shapes.place(flap, (rng.uniform(-50, 50), 0, 0), (0, -away / 2, height))
        shapes.place(wall + flap, (0, 0, turn))
        objects += wall + flap
    tape = materials.plain((0.35, 0.2, 0.08), 0.2).material
    strip = shapes.grid("tape", shapes.sheet_points(0.05, height * 0.5, 0.01), tape)
    shapes.place([strip], (90, 0, 0), (0, -depth / 2 - 0.0032, height * 0.75))
    objects.append(strip)
    shapes.deform(objects, lambda p: p + offsets(p, random.Random(7), 0.25, 0.004, 2, False))
    return Item(objects, front=True)


@variant("corrugated_cardboard", "torn pieces of corrugated cardboard with visible flutes")
def cardboard_pieces(rng: random.Random) -> Item:
    """Two bent pieces of board lying across each other."""
    skin, core = _board_materials(rng)
    lower = corrugated(0.2, 0.16, skin, core, 0.007, 0.0105)
    upper = corrugated(0.13, 0.15, skin, core, 0.007, 0.0105)
    for piece, bow in ((lower, rng.uniform(-1.2, -0.6)), (upper, rng.uniform(-1.6, -0.8))):
        seed = rng.getrandbits(32)
        # Torn at the far end, cut at the near one so that the flutes show.
        shapes.deform(piece, lambda p, bow=bow, seed=seed: p + np.stack([
            0 * p[:, 0], 0.006 * waves(p * [1, 0, 1], random.Random(seed), 0.03, 4)
            * (p[:, 1] > 0.05), bow * p[:, 1] ** 2], 1))
    shapes.place(upper, (rng.uniform(4, 9), rng.uniform(-8, 8), rng.uniform(-35, 35)),
                 (0.02, 0.01, 0.018))
    return Item(lower + upper, (15.0, 27.0), front=True)


def printed_panel(name: str, width: float, height: float, image: bpy.types.Image,
                  crumple: float = 0.0006) -> bpy.types.Object:
    """A thin printed board in the x-y plane with a grey-brown back."""
    shader = materials.papery(materials.printed(image, 0.45), 0.001, crumple)
    panel = shapes.grid(name, shapes.sheet_points(width, height, 0.008), shader.material)
    back = materials.paper((0.5, 0.44, 0.36), 0.002, crumple).material
    panel.data.materials.append(back)
    modifier = shapes.solidify(panel, 0.0006).modifiers["wall"]
    modifier.material_offset = 1
    modifier.material_offset_rim = 1
    modifier.offset = -1
    return panel


def _face(word: str, rng: random.Random, width: float, height: float) -> bpy.types.Image:
    size = (round(900 * width / max(width, height)), round(900 * height / max(width, height)))
    return labels.to_blender(labels.package(rng, word, size, 1), "face")


def folding_box(rng: random.Random, width: float, depth: float, height: float) -> Objects:
    """An opened folding box of thin printed board, standing."""
    word, state = rng.choice(BOX_WORDS), rng.getstate()
    objects = []
    for turn, wide, away in ((0, width, depth), (90, depth, width), (180, width, depth),
                             (270, depth, width)):
        # The same state gives all four sides the colours of one print.
        rng.setstate(state)
        image = _face(word, rng, wide, height)
        wall = [printed_panel("wall", wide, height, image)]
        shapes.place(wall, (90, 0, 0), (0, -away / 2, height / 2))
        length = depth * 0.85
        flap = [printed_panel("flap", wide * 0.97, length, image)]
        shapes.place(flap, move=(0, -length / 2, 0))
        shapes.place(flap, (random.Random(turn).uniform(-35, 70), 0, 0), (0, -away / 2, height))
        objects += shapes.place(wall + flap, (0, 0, turn))
    board = materials.paper((0.5, 0.44, 0.36)).material
    return [*objects, shapes.box("bottom", (width * 0.99, depth * 0.99, 0.001), board, 0.0003)]


@variant("paperboard", "an empty printed paperboard box with open flaps")
def paperboard_box(rng: random.Random) -> Item:
    """A cereal-like box lying on its back, slightly squashed."""
    objects = folding_box(rng, rng.uniform(0.15, 0.19), rng.uniform(0.05, 0.07),
                          rng.uniform(0.2, 0.26))
    shear, seed = rng.uniform(-0.35, 0.35), rng.getrandbits(32)
    shapes.deform(objects, lambda p: p + np.stack(
        [shear * p[:, 1], 0 * p[:, 0], 0 * p[:, 0]], 1)
        + offsets(p, random.Random(seed), 0.12, 0.004, 2))
    return Item(shapes.place(objects, (90, 0, 0)))


@variant("paperboard", "empty paperboard rolls")
def paperboard_rolls(rng: random.Random) -> Item:
    """Two toilet-roll cores, one flattened."""
    objects = []
    for index in range(2):
        points = shapes.lathe_points(shapes.resampled([(0.021, 0), (0.021, 0.097)], 0.003), 72)
        points[..., 2] += np.linspace(0, 0.002, 73)
        tone = rng.uniform(0.85, 1.1)
        shader = materials.paper((0.42 * tone, 0.3 * tone, 0.19 * tone), 0.0025, 0.0005)
        spiral = shader.node("TexWave", {"Vector": shader.stretched((1.0, 3.0, 0.0), "UV"),
                                         "Scale": 0.33, "Distortion": 0.3},
                             bands_direction="DIAGONAL", wave_profile="SAW")
        line = shader.ramp(spiral.outputs["Fac"], [(0.0, (0.6,) * 3), (0.06, (1.0,) * 3)])
        shader.set("Base Color", shader.mix(1.0, shader.base(), line, "MULTIPLY"))
        roll = shapes.solidify(shapes.grid("roll", points, shader.material), 0.0011)
        flatness = rng.uniform(0.0, 0.25) + 0.4 * index
        seed = rng.getrandbits(32)
        shapes.deform([roll], lambda p, k=flatness, seed=seed: p * [1 - k * 0.7, 1 + k * 0.35, 1]
                      + offsets(p, random.Random(seed), 0.04, 0.0015, 2))
        shapes.place([roll], (0, 90, 0))
        shapes.place([roll], (0, 0, rng.uniform(-25, 25) + 70 * index))
        shapes.drop([roll])
        shapes.place([roll], move=(0, 0.075 * index, 0))
        objects.append(roll)
    return Item(objects)


@variant("moulded_fibre", "a grey moulded-fibre egg tray")
def egg_tray(rng: random.Random) -> Item:
    """A tray of 5 by 6 cups at 47 mm spacing."""
    return Item([_tray(rng, 6, 5)], rise=FROM_ABOVE)


@variant("moulded_fibre", "a torn half of a moulded-fibre egg carton")
def egg_carton(rng: random.Random) -> Item:
    """The lower half of a carton of 2 by 5 cups."""
    return Item([_tray(rng, 5, 2)], rise=FROM_ABOVE)


def _tray(rng: random.Random, columns: int, rows: int) -> bpy.types.Object:
    """An egg tray of cups and pegs, 47 mm apart and 45 mm high."""
    pitch = 0.047
    points = shapes.sheet_points(columns * pitch + 0.014, rows * pitch + 0.014, 0.0022)
    x, y = points[..., 0], points[..., 1]
    phase_x = np.pi * (columns % 2 == 0), np.pi * (rows % 2 == 0)
    field = (np.cos(x / pitch * 2 * np.pi + phase_x[0])
             + np.cos(y / pitch * 2 * np.pi + phase_x[1])) / 2
    inside = np.minimum(columns * pitch / 2 - np.abs(x), rows * pitch / 2 - np.abs(y))
    body = np.tanh(-field * 2.2) / np.tanh(2.2) * 0.025
    lip = np.clip(inside / 0.006, 0, 1)
    points[..., 2] = body * lip + 0.004 * (1 - lip)
    tone, warm = rng.uniform(0.3, 0.48), rng.uniform(-0.01, 0.04)
    shader = materials.paper((tone + warm, tone, tone - warm), 0.0018)
    shader.bump(shader.noise(0.004, 5), 0.0014, 0.8).dirt(0.15, (0.25, 0.2, 0.12))
    tray = shapes.grid("tray", points, shader.material)
    seed = rng.getrandbits(32)
    shapes.deform([tray], lambda p: p + offsets(p, random.Random(seed), 0.1, 0.003, 3, False))
    return shapes.solidify(tray, 0.0018)


def _carton_print(rng: random.Random, height: float) -> bpy.types.Material:
    size = (1024, round(1024 * height / 0.28))
    print_image = labels.package(rng, rng.choice(CARTON_WORDS), size, 4, rng.random() < 0.5)
    shader = materials.printed(labels.to_blender(print_image, "carton"), 0.35)
    return shader.dirt(0.15).material


def screw_cap(rng: random.Random, radius: float = 0.014) -> Objects:
    """A ridged screw cap standing on z = 0."""
    colour = rng.choice(((0.7, 0.08, 0.06), (0.1, 0.3, 0.65), (0.85, 0.85, 0.82), (0.1, 0.45, 0.2)))
    points = shapes.lathe_points(shapes.rounded(
        [(radius * 1.15, 0), (radius * 1.15, 0.003), (radius, 0.004), (radius, 0.004),
         (radius, 0.014), (radius, 0.014), (0, 0.0145)], 2), 240)
    ridge = 1 + 0.02 * np.sign(np.cos(np.linspace(0, 2 * np.pi, 241) * 40))
    points[..., :2] *= np.where(points[..., 2] > 0.004, ridge[None, :], 1.0)[..., None]
    cap = shapes.grid("cap", points, materials.plain(colour, 0.35).material)
    shapes.merge_doubles(cap)
    return [cap]


@variant("beverage_carton", "an empty gable-top drink carton with a screw cap")
def gable_carton(rng: random.Random) -> Item:
    """A carton of 70 mm square by 240 mm, standing or lying."""
    objects = _gable(rng)
    if rng.random() < 0.5:
        shapes.place(objects, (90, 0, 0))
    return Item(objects)


def squared(levels: list[tuple[float, float, float]], per_side: int = 24) -> Array:
    """Stacked rectangles of (half width, half depth, height), one u turn from a corner."""
    side = np.linspace(-1, 1, per_side, endpoint=False)
    one = np.ones(per_side)
    x = np.concatenate([side, one, -side, -one, [-1]])
    y = np.concatenate([-one, side, one, -side, [-1]])
    return np.stack([np.stack([x * hx, y * hy, np.full(len(x), z)], 1) for hx, hy, z in levels])


def _gable(rng: random.Random) -> Objects:
    half, top = 0.035, rng.uniform(0.17, 0.2)
    heights = np.linspace(0, top, 30)
    levels = [(half, half, float(z)) for z in heights]
    ridge = [(half, half * (1 - t) + 0.0008 * t, top + 0.034 * t) for t in np.linspace(0, 1, 8)[1:]]
    fin = [(half, 0.0008, top + 0.034 + d) for d in (0.006, 0.012, 0.018)]
    points = squared([*levels, *ridge, *fin])
    # The two narrow roof sides tuck in between the wide ones.
    tuck = np.clip((points[..., 2] - top) / 0.034, 0, 1)
    at_end = np.clip(1 - np.abs(points[..., 1]) / (half * (1 - np.minimum(tuck, 0.97))), 0, 1)
    points[..., 0] *= 1 - 0.75 * at_end * tuck * (points[..., 2] <= top + 0.0341)
    body = shapes.grid("carton", points, _carton_print(rng, top + 0.052), smooth=False)
    shapes.merge_doubles(body)
    bottom = shapes.box("bottom", (2 * half, 2 * half, 0.001),
                        materials.paper((0.75, 0.73, 0.68)).material, 0.0003)
    cap = shapes.place(screw_cap(rng), (math.degrees(math.atan2(0.034, half)), 0, 0),
                       (0, -half * 0.52, top + 0.0165))
    seed = rng.getrandbits(32)
    shapes.deform([body, bottom, *cap], lambda p: p + offsets(
        p, random.Random(seed), 0.09, 0.003, 2) * np.clip((p[:, 2:] + 0.02) / 0.08, 0, 1))
    return [body, bottom, *cap]


@variant("beverage_carton", "an empty brick-shaped drink carton, squashed")
def brick_carton(rng: random.Random) -> Item:
    """A carton of 63 by 40 by 120 mm or larger with folded ears and a cap."""
    half_x, half_y, top = 0.037, 0.026, rng.uniform(0.13, 0.19)
    levels = [(half_x, half_y, float(z)) for z in np.linspace(0, top, 40)]
    body = shapes.grid("carton", squared(levels), _carton_print(rng, top))
    shapes.merge_doubles(body)
    shapes.bevel(body, 0.0015)
    lid = Image.new("RGB", (64, 64), labels.vivid(rng))
    skin = materials.printed(labels.to_blender(lid, "lid"), 0.35).material
    objects = [body, shapes.box("lid", (2 * half_x, 2 * half_y, 0.001), skin, 0.0005),
               shapes.box("base", (2 * half_x, 2 * half_y, 0.001), skin, 0.0005)]
    shapes.place([objects[1]], move=(0, 0, top - 0.0005))
    seam = shapes.box("seam", (2 * half_x, 0.008, 0.0012), skin, 0.0004)
    objects += shapes.place([seam], (8, 0, 0), (0, 0.004, top + 0.0004))
    for sign in (-1, 1):
        ear = shapes.mesh_object("ear", np.array([
            (0, -half_y, 0), (0, half_y, 0), (0.001, 0, -half_y * 1.05)]), [(0, 1, 2)], skin)
        objects += shapes.place([shapes.solidify(ear, 0.0012)], (0, 0, 0 if sign > 0 else 180),
                                (sign * (half_x + 0.001), 0, top))
    cap_at = (half_x * 0.5, -half_y * 0.35, top + 0.0005)
    objects += shapes.place(screw_cap(rng, 0.011), move=cap_at)
    seed, dent = rng.getrandbits(32), rng.uniform(0.2, 0.6)
    shapes.deform(objects, lambda p: p - np.stack([
        0 * p[:, 0], dent * p[:, 1] * np.exp(-(((p[:, 2] - top * 0.5) / 0.04) ** 2)),
        0 * p[:, 0]], 1) + offsets(p, random.Random(seed), 0.06, 0.0025, 2))
    if rng.random() < 0.5:
        shapes.place(objects, (90, 0, 0))
    return Item(objects)
