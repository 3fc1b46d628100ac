"""Render the demonstration pictures: `python -m demo_images.render --help`."""

from __future__ import annotations

import argparse
import csv
import random
import sys
import tempfile
import time
from pathlib import Path

import bpy
import numpy as np

from . import scenes
from .catalogue import PICTURES, Picture
from .finish import develop, save

HERE = Path(__file__).resolve().parent


def render_linear(width: int, height: int, samples: int, threads: int = 0) -> np.ndarray:
    """Render the current scene with Cycles to (height, width, 3) linear light."""
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    scene.cycles.device = "CPU"
    scene.cycles.samples = samples
    scene.cycles.use_denoising = True
    scene.cycles.denoiser = "OPENIMAGEDENOISE"
    # The snapshot's own noise hides what these save on.
    scene.cycles.denoising_prefilter = "FAST"
    scene.cycles.denoising_quality = "BALANCED"
    scene.cycles.adaptive_threshold = 0.05
    scene.cycles.max_bounces = 8
    scene.cycles.transparent_max_bounces = 20
    scene.cycles.caustics_reflective = scene.cycles.caustics_refractive = False
    scene.cycles.sample_clamp_indirect = 6.0
    scene.render.resolution_x, scene.render.resolution_y = width, height
    scene.render.resolution_percentage = 100
    scene.render.threads_mode = "FIXED" if threads else "AUTO"
    if threads:
        scene.render.threads = threads
    scene.render.image_settings.file_format = "OPEN_EXR"
    with tempfile.TemporaryDirectory() as folder:
        scene.render.filepath = str(Path(folder) / "light.exr")
        bpy.ops.render.render(write_still=True)
        image = bpy.data.images.load(scene.render.filepath)
        pixels = np.empty(width * height * 4, np.float32)
        image.pixels.foreach_get(pixels)
    return pixels.reshape(height, width, 4)[::-1, :, :3].astype(float)


def make(picture: Picture, size: int, samples: int, out: Path, threads: int) -> str:
    """Build, render and save one picture; give what it shows."""
    height = round(size / picture.aspect)
    if picture.form == "non_item":
        scenes.build_empty(picture.seed, picture.floor, picture.light, picture.table,
                           picture.aspect)
        shows = picture.shows
    else:
        shows = scenes.build(picture.form, picture.seed, picture.variant, picture.floor,
                             picture.light, picture.aspect)
    linear = render_linear(size, height, samples, threads)
    save(develop(linear, random.Random(picture.name)), out / f"{picture.name}.jpg")
    return shows


def write_manifest(rows: dict[str, tuple[str, str, int]], out: Path) -> None:
    """Merge `rows` (file: form, what it shows, seed) into the manifest."""
    path = out / "manifest.csv"
    known: dict[str, tuple[str, str, int]] = {}
    if path.exists():
        with path.open(newline="", encoding="utf-8") as stream:
            known = {row["file"]: (row["form"], row["shows"], int(row["seed"]))
                     for row in csv.DictReader(stream)}
    known.update(rows)
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("file", "form", "shows", "seed"))
        writer.writerows((name, *known[name]) for name in sorted(known)
                         if (out / name).exists())


def parser() -> argparse.ArgumentParser:
    """The command line."""
    result = argparse.ArgumentParser(description=__doc__)
    result.add_argument("--only", action="append", metavar="NAME", default=[],
                        help="render only pictures whose name starts with NAME (repeatable)")
    result.add_argument("--size", type=int, default=640, help="picture width in pixels")
    result.add_argument("--samples", type=int, default=12, help="light paths per pixel")
    result.add_argument("--out", type=Path, default=HERE, help="folder for the pictures")
    result.add_argument("--threads", type=int, default=0, help="CPU threads, 0 for all")
    return result


def main(arguments: list[str] | None = None) -> int:
    """Render the chosen pictures and update the manifest; 1 if the choice is empty."""
    options = parser().parse_args(arguments)
    chosen = [p for p in PICTURES
              if not options.only or any(p.name.startswith(name) for name in options.only)]
    if not chosen:
        sys.stderr.write("no picture of that name\n")
        return 1
    options.out.mkdir(parents=True, exist_ok=True)
    start = time.monotonic()
    for done, picture in enumerate(chosen, 1):
        began = time.monotonic()
        shows = make(picture, options.size, options.samples, options.out, options.threads)
        write_manifest({f"{picture.name}.jpg": (picture.form, shows, picture.seed)}, options.out)
        now = time.monotonic()
        left = (now - start) / done * (len(chosen) - done)
        sys.stdout.write(f"[{done}/{len(chosen)}] {picture.name}  {now - began:.0f} s, "
                         f"about {left:.0f} s left\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
