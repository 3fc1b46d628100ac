"""Training pictures that nobody photographed: thousands of varied scenes, rendered.

`python -m training.trials.rendered --out DIR --count 1000` needs Blender's Python module (`bpy`)
and a checkout, whose `demo_images` package builds the scenes. Seeds start above those of the
demonstration pictures, so the two never share a scene. Rendered pictures train; they never test.
"""

from __future__ import annotations

import argparse
import csv
import random
import sys
from collections.abc import Sequence
from pathlib import Path

import bpy

from demo_images import scenes
from demo_images.finish import develop, save
from demo_images.floors import FLOORS
from demo_images.lights import LIGHTS
from demo_images.render import render_linear

FIRST_SEED = 1000
EMPTY = "non_item"
_COLUMNS = ("path", "source", "form", "group", "split")
_SKY_MAP_PX = 128


def render_one(form: str, seed: int, out: Path, *, size: int, samples: int) -> dict[str, str]:
    """Render one picture (`size` px square) and return its manifest row."""
    if form == EMPTY:
        rng = random.Random(f"surroundings:{seed}")
        floor, light = rng.choice(sorted(FLOORS)), rng.choice(sorted(LIGHTS))
        scenes.build_empty(seed, floor, light, table=rng.random() < 0.3)
    else:
        scenes.build(form, seed)
    _coarse_sky()
    name = f"{form}_{seed}.jpg"
    linear = render_linear(size, size, samples, threads=1)
    save(develop(linear, random.Random(name)), out / name)
    values = (name, "rendered", form, f"rendered/{form}-{seed}", "train")
    return dict(zip(_COLUMNS, values, strict=True))


def _coarse_sky() -> None:
    """Look at the sky in less detail: the full map took most of the time of a small picture."""
    for world in bpy.data.worlds:
        world.cycles.sampling_method = "MANUAL"
        world.cycles.sample_map_resolution = _SKY_MAP_PX


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line; an interrupted run goes on where it stopped."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, required=True, help="pictures of each form")
    parser.add_argument("--size", type=int, default=256, help="side, px")
    parser.add_argument("--samples", type=int, default=12, help="light paths a pixel")
    parser.add_argument("--first", type=int, default=FIRST_SEED, help="number of the first scene")
    given = parser.parse_args(arguments)
    given.out.mkdir(parents=True, exist_ok=True)
    listing = given.out / "manifest.csv"
    new = not listing.exists()
    with listing.open("a", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, _COLUMNS)
        if new:
            writer.writeheader()
        for seed in range(given.first, given.first + given.count):
            for form in [*scenes.forms(), EMPTY]:
                if (given.out / f"{form}_{seed}.jpg").exists():
                    continue
                row = render_one(form, seed, given.out, size=given.size, samples=given.samples)
                writer.writerow(row)
                stream.flush()
                sys.stdout.write(f"{row['path']}\n")
                sys.stdout.flush()


if __name__ == "__main__":
    main()
