"""Labelled pictures drawn in code: coloured shapes on speckled floors, a manifest beside them."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

# form: (colour, shape); colours alone tell them apart, so that a tiny run can learn them
ITEMS: dict[str, tuple[tuple[int, int, int], str]] = {
    "drink_can": ((215, 30, 30), "rectangle"),
    "glass_bottle": ((20, 120, 50), "ellipse"),
    "printed_paper": ((245, 245, 240), "rectangle"),
    "food": ((240, 150, 20), "ellipse"),
    "broken_glass": ((40, 210, 220), "triangle"),
    "plastic_film": ((190, 60, 200), "triangle"),
    "pet_bottles": ((120, 180, 250), "ellipse"),  # a category of the log, not a form
}
MATERIALS = {
    "drink_can": "metal",
    "glass_bottle": "glass",
    "printed_paper": "paper",
    "food": "food",
    "broken_glass": "glass",
    "plastic_film": "plastic",
}
COLUMNS = ("path", "source", "form", "material", "group")


def draw(form: str, seed: int, *, width: int = 96, height: int = 80) -> Image.Image:
    """Draw one item, or only the floor for any other form; `seed` varies place, floor and light."""
    rng = np.random.default_rng([seed, *form.encode()])
    image = Image.fromarray(_floor(rng, height, width))
    if form in ITEMS:
        colour, shape = ITEMS[form]
        left, top = rng.integers(8, width // 4), rng.integers(8, height // 4)
        right, bottom = (
            rng.integers(width * 2 // 3, width - 8),
            rng.integers(height * 2 // 3, height - 8),
        )
        box = (int(left), int(top), int(right), int(bottom))
        fill = tuple(int(c) for c in np.clip(np.array(colour) + rng.uniform(-15, 15), 0, 255))
        pen = ImageDraw.Draw(image)
        if shape == "rectangle":
            pen.rectangle(box, fill=fill)
        elif shape == "ellipse":
            pen.ellipse(box, fill=fill)
        else:
            pen.polygon(
                [(box[0], box[3]), (box[2], box[3]), ((box[0] + box[2]) // 2, box[1])], fill
            )
    return image


def _floor(rng: np.random.Generator, height: int, width: int) -> NDArray[np.uint8]:
    """Tinted, speckled and striped: plain ones look alike to the pretrained network."""
    y, x = np.mgrid[:height, :width][..., None]
    turn, pitch = rng.uniform(0, np.pi), rng.uniform(0.05, 0.6)
    stripes = np.sin((x * np.cos(turn) + y * np.sin(turn)) * pitch) > rng.uniform(-0.9, 0.9)
    floor = rng.uniform(60, 180) + rng.normal(0, 25, 3) + stripes * rng.normal(0, 35, 3)
    speckled = floor + rng.normal(0, rng.uniform(2, 25), (height, width, 1))
    return np.asarray(speckled.clip(0, 255).astype(np.uint8))


def write_set(
    folder: Path,
    counts: Mapping[str, int],
    *,
    sources: tuple[str, ...] = ("kitchen",),
    per_group: int = 1,
) -> Path:
    """Write `counts[form]` pictures of each form in turn from each source, and manifest.csv."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for form, count in counts.items():
        for number in range(count):
            name = f"{form}_{number}.jpg"
            draw(form, number).save(folder / name, quality=92)
            source = sources[number % len(sources)]
            group = f"{source}-{form}-{number // per_group}"
            rows.append((name, source, form, MATERIALS.get(form, ""), group))
    with (folder / "manifest.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(COLUMNS)
        writer.writerows(rows)
    return folder
