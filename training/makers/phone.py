"""From linear light to the picture that a phone would save."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter, uniform_filter1d

from training.makers.dice import Dice


def photograph(linear: np.ndarray, white: np.ndarray, size: int, dice: Dice) -> np.ndarray:
    """Turn linear light (n, n, 3) into a picture, uint8 (size, size, 3).

    `white` (3,) is the light that falls on the floor, which the phone sets to white, nearly.

    Lens blur, glare, vignetting, exposure, white balance, noise and its removal, tone curve,
    sharpening and one JPEG, each drawn by itself: common practice of cameras, no source.
    """
    picture = _lens(linear, dice)
    picture = _shrunk(picture, size)
    picture = _exposed(picture, white, dice)
    picture = _sensor(picture, dice)
    picture = _toned(picture, dice)
    if dice.chance(0.6):
        soft = gaussian_filter(picture, (1.0, 1.0, 0))
        picture = picture + dice.between(0.2, 1.3) * (picture - soft)
    pixels = (np.clip(picture, 0, 1) * 255 + 0.5).astype(np.uint8)
    if dice.chance(0.7):
        stream = io.BytesIO()
        Image.fromarray(pixels).save(stream, "JPEG", quality=dice.whole(45, 92))
        pixels = np.asarray(Image.open(stream).convert("RGB"))
    return pixels


def _lens(picture: np.ndarray, dice: Dice) -> np.ndarray:
    sigma = abs(dice.rng.normal(0, 0.7)) if dice.chance(0.85) else dice.between(1, 2.4)
    if sigma > 0.25:
        picture = gaussian_filter(picture, (sigma, sigma, 0))
    if dice.chance(0.08):
        picture = uniform_filter1d(picture, dice.whole(3, 9), axis=dice.whole(0, 1))
    if dice.chance(0.5):
        bright = np.minimum(picture, 30)[::4, ::4]
        glare = gaussian_filter(bright, (5, 5, 0)).repeat(4, 0).repeat(4, 1)
        picture = picture + dice.between(0.005, 0.05) * glare[: len(picture), : len(picture)]
    n = len(picture)
    y, x = np.mgrid[-1 : 1 : n * 1j, -1 : 1 : n * 1j]
    return picture * (1 - dice.between(0, 0.35) * (x * x + y * y) / 2)[..., None]


def _shrunk(picture: np.ndarray, size: int) -> np.ndarray:
    bands = [
        np.asarray(
            Image.fromarray(np.ascontiguousarray(picture[..., i])).resize(
                (size, size), Image.Resampling.BOX
            )
        )
        for i in range(3)
    ]
    return np.stack(bands, 2)


def _exposed(picture: np.ndarray, white: np.ndarray, dice: Dice) -> np.ndarray:
    """Exposure by the mean and white balance by the light, each with a mistake."""
    grey = picture.mean(2)
    level = 0.6 * float(np.mean(np.minimum(grey, 4 * np.median(grey) + 1e-3))) + 0.4 * float(
        np.median(grey)
    )
    aim = 0.2 * np.exp(dice.rng.normal(0, 0.38))
    picture = picture * (aim / max(level, 1e-4))
    bright = float(np.quantile(picture[::4, ::4], 0.97))
    picture = picture * min(1.0, dice.between(0.75, 1.8) / max(bright, 1e-4))
    cast = np.clip(white / max(float(white.mean()), 1e-6), 0.2, 5)
    gains = cast ** -dice.between(0.75, 1.0) * np.exp(dice.rng.normal(0, 0.04, 3))
    return picture * gains


def _sensor(picture: np.ndarray, dice: Dice) -> np.ndarray:
    """Shot and read noise (variance linear in the signal), then its removal."""
    gain = 10 ** dice.between(-4.6, -2.9)
    spread = np.sqrt(np.maximum(picture, 0) * gain + gain * 0.01)
    picture = picture + spread * dice.rng.normal(size=picture.shape).astype(np.float32)
    if dice.chance(0.5):
        picture = gaussian_filter(picture, (0.5, 0.5, 0))
    return picture


def _toned(picture: np.ndarray, dice: Dice) -> np.ndarray:
    """Shoulder that keeps highlights, gamma, stretched levels, contrast and saturation."""
    white = dice.between(0.9, 3.0)
    p = np.maximum(picture, 0)
    p = p * (1 + p / white**2) / (1 + p * dice.between(0.2, 0.8))
    p = np.clip(p, 0, 1) ** (1 / dice.between(2.0, 2.4))
    low, high = np.quantile(p[::3, ::3], (0.01, 0.99))
    stretched = (p - low) / max(float(high - low), 0.15)
    black, bright = dice.between(0, 0.16), dice.between(0.78, 1.0)
    p = p + dice.between(0.5, 1.0) * (black + (bright - black) * stretched - p)
    p = np.clip(p, 0, 1)
    curve = dice.between(-0.05, 0.6)
    p = p + curve * (p * p * (3 - 2 * p) - p)
    grey = p.mean(2, keepdims=True)
    return grey + (p - grey) * dice.between(0.75, 1.3)
