"""Broken glass: shards, broken necks and feet, panes and mirrors."""

from __future__ import annotations

import numpy as np

from training.makers.dice import Dice
from training.makers.families.vessels import bottle_line, glass, glass_tint
from training.makers.material import Clear, Item, Material, Part, metal
from training.makers.mesh import Mesh, rotation, turned
from training.makers.outlines import prism, shard
from training.makers.warps import bent


def _thin_tint(dice: Dice) -> np.ndarray:
    """What one pane of a shard lets through: mostly white glass."""
    tint = glass_tint(dice) if dice.chance(0.5) else dice.grey(0.9, 0.98, 0.02)
    return np.asarray(tint) ** 0.45


def broken_glass(dice: Dice) -> Item:
    """Shards: flat or curved pieces, or a broken neck or foot with pieces about it."""
    tint = _thin_tint(dice)
    look = glass(dice, tint)
    rims = Material(
        np.clip(tint + 0.1, 0, 1),
        roughness=0.08,
        gloss=1.8,
        clear=Clear(tint, haze=dice.between(0.08, 0.3), bend=0.25, rim=0.9, shade=0.4),
    )
    parts: list[Part] = []
    spread = dice.between(0.015, 0.07)
    rest = dice.pick(("none", "neck", "foot"), (5, 2, 2))
    if rest != "none":
        parts.append(Part(_broken_part(rest, dice), look))
    for _ in range(dice.whole(1, 9) + (rest == "none")):
        made = _curved_shard(dice) if dice.chance(0.45) else _flat_shard(dice)
        tilt = rotation((1, 0, 0), dice.rng.normal(0, 0.2)) @ rotation(
            (0, 1, 0), dice.rng.normal(0, 0.2)
        )
        made = made.turned(rotation((0, 0, 1), dice.between(0, 6.28)) @ tilt)
        made = made.moved((*dice.rng.normal(0, spread, 2), -made.v[:, 2].min()))
        parts.append(Part(made, rims if dice.chance(0.4) else look))
    return Item("broken_glass", parts, ("stands",), "broken_glass")


def _flat_shard(dice: Dice) -> Mesh:
    size = dice.between(0.012, 0.08)
    outline = shard(dice.rng, dice.whole(3, 6)) * size * [0.5, dice.between(0.25, 0.5)]
    flat = prism(outline, dice.between(0.002, 0.006))
    return bent(flat, dice.pick((0.0, dice.between(10, 60))))


def _curved_shard(dice: Dice) -> Mesh:
    """Piece of the wall of a bottle or jar, hollow side up or down, with both faces and edges."""
    radius, thick = dice.between(0.025, 0.05), dice.between(0.002, 0.005)
    outline = shard(dice.rng, dice.whole(3, 7))
    half = np.array([dice.between(0.3, 1.1), dice.between(0.01, 0.045)])  # radians, m
    flat = prism(outline * half * [radius, 1], thick)
    turn = flat.v[:, 0] / radius
    reach = radius + flat.v[:, 2]
    v = np.stack([reach * np.sin(turn), flat.v[:, 1], reach * np.cos(turn)], 1)
    made = Mesh((v - v.mean(0)).astype(np.float32), flat.uv, flat.f)
    return made if dice.chance(0.5) else made.turned(rotation((0, 1, 0), np.pi))


def _broken_part(kind: str, dice: Dice) -> Mesh:
    line = bottle_line(dice)
    high, radius = line[-1, 1], line[20, 0]
    if kind == "neck":
        made = turned(line[line[:, 1] > high * dice.between(0.55, 0.75)], sides=60, sharp=False)
    else:
        kept = line[line[:, 1] < high * dice.between(0.15, 0.4)]
        made = turned(
            np.concatenate([[(0, 0.012), (radius * 0.8, 0.001)], kept]), sides=60, sharp=False
        )
    angle = np.arctan2(made.v[:, 1], made.v[:, 0])
    jag = (
        sum(
            dice.rng.normal() * np.abs(np.sin(k * angle + dice.between(0, 6))) for k in (1, 2, 3, 5)
        )
        * 0.012
    )
    edge = made.v[:, 2].min() + 0.03 + jag if kind == "neck" else made.v[:, 2].max() - 0.03 + jag
    keep = made.v[:, 2] > edge if kind == "neck" else made.v[:, 2] < edge
    kept = made.f[keep[made.f].all(1)]
    made = Mesh(made.v, made.uv, kept if len(kept) else made.f, made.weld)
    if kind == "neck" or dice.chance(0.5):
        laid = made.turned(rotation((0, 1, 0), np.pi / 2 + dice.rng.normal(0, 0.1)))
        return laid.moved(-np.array([laid.v[:, 0].mean(), laid.v[:, 1].mean(), laid.v[:, 2].min()]))
    return made


def window_pane(dice: Dice) -> Item:
    """Cracked mirror or pane in several pieces that lie close together."""
    mirror = dice.chance(0.4)
    look = metal(dice.grey(0.85, 0.95, 0.01), 0.03) if mirror else glass(dice, _thin_tint(dice))
    parts = []
    for _ in range(dice.whole(3, 8)):
        made = prism(shard(dice.rng, dice.whole(3, 5)) * dice.between(0.02, 0.06), 0.003)
        made = made.turned(rotation((0, 0, 1), dice.between(0, 6.28))).moved(
            (*dice.rng.normal(0, 0.05, 2), dice.between(0, 0.006))
        )
        parts.append(Part(made, look))
    return Item("broken_glass", parts, ("stands",), "mirror_shards" if mirror else "pane_shards")


MAKERS = {"broken_glass": (broken_glass, 2.5), "window_pane": (window_pane, 0.8)}
