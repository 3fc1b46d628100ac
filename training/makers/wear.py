"""What happens to things outdoors and in bins: wet, dirty, half hidden."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from training.makers.canvas import Placed
from training.makers.dice import Dice
from training.makers.material import Material, Part
from training.makers.mesh import Mesh, box, rotation

_WET, _DIRTY, _COVERED = 0.06, 0.1, 0.07  # shares of items
_OUTDOORS = {"grass": 0.6, "soil": 0.3}  # share of items with blades over them


def weathered(parts: list[Part], dice: Dice) -> list[Part]:
    """Make some items wet (darker, shiny) or dirty (blotched)."""
    if dice.chance(_WET):
        return [Part(p.mesh, _wet(p.material)) for p in parts]
    if dice.chance(_DIRTY):
        amount, grain = dice.between(0.15, 0.6), dice.between(2, 8)
        return [
            Part(p.mesh, replace(p.material, mottle=p.material.mottle + amount, grain=grain))
            if p.material.relief == "fractal" and not p.material.clear
            else p
            for p in parts
        ]
    return parts


def _wet(look: Material) -> Material:
    if look.metal > 0 or look.clear:
        return look
    shine = replace(look, roughness=0.35 * look.roughness, gloss=max(look.gloss, 1.2))
    return replace(shine, colour=np.asarray(look.colour) * 0.8)


def covers(placed: Sequence[Placed], floor: str, dice: Dice) -> list[Placed]:
    """Things of no item that hide a part of what lies there: blades of grass, a board's edge."""
    places = np.concatenate([p.mesh.v for p in placed])
    low, high = places.min(0), places.max(0)
    if dice.chance(_OUTDOORS.get(floor, 0.0)):
        hue = (0.18, 0.3) if floor == "grass" else (0.1, 0.2)
        count = dice.whole(40, 240)
        tones = [dice.colour(hue, (0.3, 0.7), (0.15, 0.6)) for _ in range(8)]
        texture = np.broadcast_to((np.stack(tones) * 255).astype(np.uint8)[None], (4, 8, 3)).copy()
        spread = float(np.linalg.norm((high - low)[:2])) * 0.5 + 0.02
        tuft = blades(dice, count, spread, (0.03, 0.09), 0.9)
        middle = (low + high) / 2
        look = Material((1, 1, 1), texture, roughness=0.6, through=0.2)
        return [Placed(tuft.moved((middle[0], middle[1], 0)), look)]
    if not dice.chance(_COVERED):
        return []
    turn = rotation((0, 0, 1), dice.between(0, 2 * np.pi))
    size = float((high - low).max())
    slab = box(3 * size, 2 * size, 0.01).moved((0, size * dice.between(1.1, 1.3), 0)).turned(turn)
    middle = (low + high) / 2
    colour = dice.pick((dice.grey(0.1, 0.9), dice.colour(strength=(0.1, 0.6))))
    raised = slab.moved((middle[0], middle[1], high[2] + 0.004))
    return [Placed(raised, Material(colour, roughness=0.7, bump=0.1, mottle=0.1))]


def blades(dice: Dice, count: int, spread: float, long: tuple[float, float], lift: float) -> Mesh:
    """Bent blades as strips about the origin; `u` differs from blade to blade.

    `spread` is the deviation of their roots and `long` the range of their lengths, m; `lift` how
    far they rise, as a share of their length.
    """
    t = np.linspace(0, 1, 6)
    base = dice.rng.normal(0, spread, (count, 2))
    turn = dice.rng.uniform(0, 2 * np.pi, count)
    reach = dice.rng.uniform(*long, count)
    rise = dice.rng.uniform(0, 1, count) * lift
    angle = turn[:, None] + dice.rng.normal(0, 0.9, count)[:, None] * t
    x = base[:, :1] + reach[:, None] * np.cumsum(np.cos(angle), 1) / 6
    y = base[:, 1:] + reach[:, None] * np.cumsum(np.sin(angle), 1) / 6
    z = 0.001 + (rise * reach)[:, None] * np.sin(np.pi * 0.8 * t)
    z = z + 0.003 * dice.rng.uniform(0, 4, (count, 1))
    wide = 0.0016 * (1 - t * 0.85)
    side = np.stack([-np.sin(angle), np.cos(angle), 0.3 + 0 * angle], 2) * wide[None, :, None]
    middle = np.stack([x, y, z], 2)
    v = np.stack([middle - side, middle + side], 2).reshape(-1, 3)
    strip = np.arange(5)[:, None] * 2
    quad = np.concatenate([strip + np.array(corners) for corners in ((0, 1, 3), (0, 3, 2))])
    f = (np.arange(count)[:, None, None] * 12 + quad).reshape(-1, 3)
    tone = np.repeat(dice.rng.uniform(0, 1, count), 12)
    uv = np.stack([tone, np.tile(np.repeat(t, 2), count)], 1)
    return Mesh(v.astype(np.float32), uv.astype(np.float32), f)
