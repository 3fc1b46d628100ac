"""Scanned objects, drawn like the invented ones."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image

from training.makers.dice import Dice
from training.makers.material import Item, Material, Part
from training.makers.mesh import Mesh
from training.makers.warps import crushed_parts

_HELD_EVERY = 5
_SOFT = ("paperboard", "corrugated_cardboard", "plastic_film", "beverage_carton")
_ROUGHNESS = {"glass_ceramic_other": 0.15, "metal_other": 0.25, "textile": 0.95, "wood": 0.7}


@dataclass(frozen=True, slots=True)
class Scan:
    """A scanned object and its form."""

    file: Path
    form: str


@lru_cache(maxsize=4)
def scans_in(folder: Path) -> tuple[Scan, ...]:
    """List the scans of a folder that have a form and whose files are there.

    `folder` holds `objects.csv` (name, form) and `objects/NAME.npz` with `NAME.jpg`.
    """
    with (folder / "objects.csv").open(newline="", encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if row["form"]]
    scans = [Scan(folder / "objects" / f"{row['name']}.npz", row["form"]) for row in rows]
    return tuple(scan for scan in scans if scan.file.exists())


def scan_maker(folder: Path) -> Callable[[Dice], Item]:
    """Return a maker that draws a form, rare ones nearly as often as others, then a scan of it."""
    by_form: dict[bool, dict[str, list[Scan]]] = {False: {}, True: {}}
    for i, scan in enumerate(scans_in(folder)):
        held = i % _HELD_EVERY == _HELD_EVERY - 1
        by_form[held].setdefault(scan.form, []).append(scan)

    def scanned(dice: Dice) -> Item:
        mine = by_form[dice.held]
        forms = sorted(mine)
        form = dice.pick(forms, [len(mine[f]) ** 0.4 for f in forms])
        return _item(dice.pick(mine[form]), dice)

    return scanned


def _item(scan: Scan, dice: Dice) -> Item:
    mesh, texture = _loaded(scan.file)
    look = Material(
        (1, 1, 1),
        texture,
        roughness=_ROUGHNESS.get(scan.form, dice.between(0.3, 0.6)),
        gloss=0.9,
    )
    parts = [Part(mesh, look)]
    if scan.form in _SOFT and dice.chance(0.3):
        parts = crushed_parts(parts, dice, dice.between(0.05, 0.5), 1.3)
    return Item(scan.form, parts, ("settles", "stands"), scan.file.stem, (2, 1))


@lru_cache(maxsize=32)
def _loaded(file: Path) -> tuple[Mesh, np.ndarray]:
    """Read a scan; corners of one vertex with several texture places become several vertices."""
    with np.load(file) as stored:
        v = stored["v"] * stored["scale"] + stored["centre"]
        pairs = np.stack([stored["f"].ravel(), stored["ft"].ravel()], 1).astype(np.int64)
        uv = stored["t"] / 65535.0
    unique, corner = np.unique(pairs, axis=0, return_inverse=True)
    first = np.full(len(v), -1)
    first[unique[::-1, 0]] = np.arange(len(unique))[::-1]
    mesh = Mesh(
        v[unique[:, 0]].astype(np.float32),
        uv[unique[:, 1]].astype(np.float32),
        corner.reshape(-1, 3),
        first[unique[:, 0]],
    )
    return mesh, np.asarray(Image.open(file.with_suffix(".jpg")).convert("RGB"))
