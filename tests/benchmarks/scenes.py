"""Photographs for timing: our demo pictures enlarged, with the grain that a camera leaves.

Only their size and detail matter here; what is on them measures nothing.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image

DEMO = sorted(Path("demo_images").glob("*.jpg"))
TWELVE_MEGAPIXELS = (4000, 3000)


def photograph(number: int, size: tuple[int, int], *, quality: int = 90) -> bytes:
    """Return a JPEG of a size, the same for the same number."""
    with Image.open(DEMO[number % len(DEMO)]) as opened:
        image = opened.convert("RGB").resize(size, Image.Resampling.BICUBIC)
    grain = np.random.default_rng(number).normal(0, 5, (size[1], size[0], 1))
    pixels = np.asarray(image, dtype=np.float32) + grain.astype(np.float32)
    out = io.BytesIO()
    Image.fromarray(pixels.clip(0, 255).astype(np.uint8)).save(out, "JPEG", quality=quality)
    return out.getvalue()
