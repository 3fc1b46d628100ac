"""From linear light to a phone-like JPEG: exposure, white balance, noise, tone curve."""

from __future__ import annotations

import io
import random
from pathlib import Path

import numpy as np
from PIL import Image, ImageFilter

Array = np.ndarray
QUALITY = 88


def expose(linear: Array, rng: random.Random) -> Array:
    """Scale the light as a phone's metering would, leaving bright floors somewhat bright."""
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    mean = float(np.exp(np.log(luminance + 1e-3).mean()))
    peak = float(np.percentile(luminance, 95))
    gain = min(0.35 / mean, 0.9 / max(peak, 1e-3) + 0.25 * 0.35 / mean)
    return linear * gain * 2 ** rng.gauss(0, 0.15)


def tone_curve(linear: Array) -> Array:
    """A contrast curve with soft highlights, then the sRGB transfer function."""
    x = np.maximum(linear, 0.0) * 0.72
    mapped = np.clip(x * (2.51 * x + 0.03) / (x * (2.43 * x + 0.59) + 0.14), 0, 1)
    return np.where(mapped <= 0.0031308, mapped * 12.92,
                    1.055 * np.maximum(mapped, 1e-6) ** (1 / 2.4) - 0.055)


def develop(linear: Array, rng: random.Random) -> Image.Image:
    """Turn (height, width, 3) linear light into a picture with the flaws of a snapshot."""
    gen = np.random.default_rng(rng.getrandbits(32))
    height, width = linear.shape[:2]
    exposed = expose(linear, rng)
    drift = rng.gauss(0, 0.045)
    exposed = exposed * np.array([1 + drift, 1 + rng.gauss(0, 0.01), 1 - drift])
    y, x = np.mgrid[-1:1:height * 1j, -1:1:width * 1j]
    exposed = exposed * (1 - rng.uniform(0.06, 0.16) * (x**2 + y**2) / 2)[..., None]
    level = rng.uniform(0.004, 0.012)
    # Shot noise grows with the root of the light; sensors add a little everywhere.
    spread = level * np.sqrt(np.maximum(exposed, 0) + 0.02)
    exposed = exposed + spread * gen.normal(0, 1, exposed.shape)
    pixels = (np.clip(tone_curve(exposed), 0, 1) * 255).round().astype(np.uint8)
    return Image.fromarray(pixels).filter(ImageFilter.UnsharpMask(1.2, 50, 2))


def save(image: Image.Image, path: Path, limit: int = 118_000) -> None:
    """Write a JPEG without metadata, at lower quality if it would pass `limit` bytes."""
    for quality in range(QUALITY, 40, -4):
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=quality, optimize=True)
        if buffer.tell() <= limit:
            break
    path.write_bytes(buffer.getvalue())
