"""Floors and table tops under the items: a plane of a few metres with a procedural pattern."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np

from . import labels, materials, shapes
from .fields import generator, waves
from .materials import Colour, Shader

EXTENT = 12.0


def _plane(shader: Shader, extent: float = EXTENT, height: float = 0.0) -> None:
    points = shapes.sheet_points(extent, extent, extent / 4)
    points[..., 2] = height
    shapes.grid("floor", points, shader.material)


def _tone(rng: random.Random, low: float, high: float, warmth: float = 0.04) -> list[float]:
    """A near-grey colour that leans to warm or cold by up to `warmth`."""
    level, lean = rng.uniform(low, high), rng.uniform(-warmth, warmth)
    return [level + lean, level, level - lean]


def tiles(rng: random.Random) -> None:
    """Square ceramic tiles with grout."""
    size = rng.choice((0.1, 0.2, 0.3))
    shader = Shader("tiles", roughness=rng.uniform(0.15, 0.35))
    colour = _tone(rng, 0.25, 0.7, 0.06)
    brick = shader.node("TexBrick", {
        "Vector": shader.coordinates(), "Color1": (*colour, 1),
        "Color2": (*[c * 0.88 for c in colour], 1), "Mortar": (0.22, 0.2, 0.18, 1),
        "Scale": 1.0, "Mortar Size": 0.0025, "Mortar Smooth": 0.3, "Brick Width": size,
        "Row Height": size}, offset=0.0)
    shader.set("Base Color", brick.outputs["Color"])
    shader.dirt(0.35, (0.2, 0.17, 0.14), 0.15)
    shader.bump(brick.outputs["Fac"], -0.001, 0.8)
    _plane(shader)


def concrete(rng: random.Random) -> None:
    """Smoothed concrete with pores and stains."""
    tone = _tone(rng, 0.28, 0.45, 0.02)
    shader = materials.organic(tone, [c * 0.6 for c in tone], 0.12, 0.85, 0.0015)
    shader.bump(shader.noise(0.003, 8), 0.0012, 0.6)
    shader.dirt(0.4, (0.12, 0.11, 0.1), 0.06)
    _plane(shader)


def _grained(light: Colour, roughness: float) -> Shader:
    """Planed wood with its fibres along x; `light` is the tone of the early wood."""
    shader = Shader("boards", roughness=roughness)
    grain = shader.noise(0.012, 6, shader.stretched((0.07, 1.0, 1.0)))
    shader.set("Base Color", shader.ramp(grain, [(0.3, [c * 0.6 for c in light]), (0.7, light)]))
    return shader.bump(grain, 0.0004, 0.4)


def boards(rng: random.Random, height: float = 0.0) -> None:
    """Wood boards with dark joints, at `height` metres."""
    light = rng.choice(((0.5, 0.31, 0.16), (0.36, 0.2, 0.1), (0.62, 0.46, 0.3)))
    shader = _grained(light, rng.uniform(0.3, 0.5))
    brick = shader.node("TexBrick", {
        "Vector": shader.coordinates(), "Color1": (1, 1, 1, 1), "Color2": (0.72, 0.7, 0.68, 1),
        "Mortar": (0.12, 0.08, 0.05, 1), "Scale": 1.0, "Mortar Size": 0.0015,
        "Brick Width": 1.1, "Row Height": rng.choice((0.09, 0.14))}, offset=0.37)
    shader.set("Base Color", shader.mix(1.0, shader.base(), brick.outputs["Color"], "MULTIPLY"))
    _plane(shader, height=height)


def linoleum(rng: random.Random) -> None:
    """Speckled hard flooring."""
    tone = _tone(rng, 0.3, 0.5, 0.09)
    shader = Shader("linoleum", tone, roughness=0.4)
    for size, factor in ((0.006, 0.6), (0.009, 1.5)):
        speck = shader.ramp(shader.voronoi(size), [(0.2, (1, 1, 1)), (0.3, (0, 0, 0))])
        shader.set("Base Color", shader.mix(speck, shader.base(),
                                            [min(1, c * factor) for c in tone]))
    shader.dirt(0.3, (0.15, 0.13, 0.1), 0.1)
    _plane(shader)


def whiteboard(rng: random.Random) -> None:
    """A white laminated board, slightly stained."""
    shader = Shader("board", _tone(rng, 0.72, 0.8, 0.015), roughness=0.35)
    shader.dirt(0.22, (0.5, 0.47, 0.42), 0.05)
    shader.bump(shader.noise(0.004, 3), 0.0003, 0.4)
    _plane(shader)


def news(rng: random.Random) -> None:
    """A newspaper page spread over a wooden floor."""
    boards(rng, -0.009)
    shader = materials.printed(labels.to_blender(labels.newspaper(rng), "news"), 0.9)
    points = shapes.sheet_points(0.62, 0.82, 0.02)
    flat = points.reshape(-1, 3)
    # The highest crest of the page stays below the item, which stands on z = 0.
    relief = waves(flat, rng, 0.2, 2).reshape(points.shape[:2])
    points[..., 2] = 0.002 * (relief - relief.max())
    shapes.place([shapes.grid("page", points, materials.papery(shader).material)],
                 (0, 0, rng.uniform(-30, 30)))


def grass(rng: random.Random) -> None:
    """Soil covered with some thousand short blades of grass."""
    _plane(materials.organic((0.16, 0.12, 0.06), (0.05, 0.05, 0.02), 0.03, 0.95, 0.004))
    gen, count = generator(rng), 60000
    # Dense under the item, thinner towards the edges of the picture.
    roots = gen.normal(0, 0.3, (count, 2))
    height = gen.uniform(0.008, 0.03, count)
    heading = gen.uniform(0, 2 * np.pi, count)
    across = np.stack([np.cos(heading), np.sin(heading)], 1)
    across *= gen.uniform(0.0008, 0.002, (count, 1))
    lean = gen.normal(0, 0.6, (count, 2)) * height[:, None]
    low, high = np.zeros((count, 1)), height[:, None]
    blade = np.stack([np.hstack([roots - across, low]), np.hstack([roots + across, low]),
                      np.hstack([roots + lean * 0.3 + across * 0.7, high * 0.6]),
                      np.hstack([roots + lean, high])], axis=1)
    start = np.arange(count)[:, None] * 4
    faces = np.concatenate([start + np.array(corner) for corner in ((0, 1, 2), (0, 2, 3))])
    shader = materials.organic((0.16, 0.27, 0.05), (0.05, 0.12, 0.02), 0.02, 0.6, 0.0)
    shapes.mesh_object("blades", blade.reshape(-1, 3), faces.tolist(), shader.material)


def asphalt(rng: random.Random) -> None:
    """Coarse dark paving."""
    tone = _tone(rng, 0.12, 0.2, 0.01)
    shader = materials.organic(tone, [c * 0.4 for c in tone], 0.004, 0.9, 0.002)
    shader.bump(shader.voronoi(0.006), 0.002, 0.7)
    shader.dirt(0.3, (0.28, 0.26, 0.23), 0.1)
    _plane(shader)


FLOORS: dict[str, Callable[..., None]] = {
    "tiles": tiles, "concrete": concrete, "boards": boards, "linoleum": linoleum,
    "whiteboard": whiteboard, "news": news, "grass": grass, "asphalt": asphalt,
}


def table_edge(rng: random.Random, height: float) -> None:
    """A wooden table top at `height` metres whose edge crosses the picture."""
    shader = _grained((0.5, 0.31, 0.16), 0.35)
    top = shapes.box("table", (1.4, 0.8, 0.03), shader.material, 0.004)
    shapes.place([top], (0, 0, rng.uniform(0, 360)))
    shift = rng.uniform(0.36, 0.4)
    matrix = np.array(top.matrix_world)
    shapes.place([top], move=matrix[:3, 1] * shift + [0, 0, height - 0.02])
