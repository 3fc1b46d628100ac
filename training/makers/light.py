"""Light all around: scanned environment maps, or rooms and skies made by rule."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from training.makers.dice import Dice

WIDTH, HEIGHT = 256, 128  # px, of all maps as they are used
LEVELS = 5  # maps of growing blur that reflections of growing roughness look up
_HELD_EVERY = 4


@dataclass(frozen=True, slots=True)
class Light:
    """Light of one scene, linear; the z axis is up.

    `maps` is float32 (levels, rows, columns, 3), rows from straight up to straight down;
    `harmonics` (9, 3) the irradiance over pi as coefficients of real spherical harmonics;
    `towards` (3,) points to the strongest source, which shines with `strength` (3,) and whose
    shadow has an edge of `softness` (tangent of half its width).
    """

    maps: np.ndarray
    harmonics: np.ndarray
    towards: np.ndarray
    strength: np.ndarray
    softness: float

    def on_floor(self) -> np.ndarray:
        """Irradiance over pi on a level surface that nothing shades, (3,)."""
        ambient = basis(np.array([0.0, 0.0, 1.0])) @ self.harmonics
        return ambient + self.strength * max(float(self.towards[2]), 0.0)


@lru_cache(maxsize=1)
def _directions() -> tuple[np.ndarray, np.ndarray]:
    """Directions of the map's pixels (rows, columns, 3) and their solid angles (rows, 1)."""
    polar = (np.arange(HEIGHT) + 0.5) / HEIGHT * np.pi
    around = ((np.arange(WIDTH) + 0.5) / WIDTH * 2 - 1) * np.pi
    sine = np.sin(polar)[:, None]
    directions = np.stack(
        [
            sine * np.cos(around),
            sine * np.sin(around),
            np.broadcast_to(np.cos(polar)[:, None], (HEIGHT, WIDTH)),
        ],
        2,
    )
    return directions, sine * (np.pi / HEIGHT) * (2 * np.pi / WIDTH)


def basis(n: np.ndarray) -> np.ndarray:
    """First nine real spherical harmonics at unit vectors (..., 3), as (..., 9)."""
    x, y, z = n[..., 0], n[..., 1], n[..., 2]
    one = np.ones_like(x)
    return np.stack(
        [
            0.282095 * one,
            0.488603 * y,
            0.488603 * z,
            0.488603 * x,
            1.092548 * x * y,
            1.092548 * y * z,
            0.315392 * (3 * z * z - 1),
            1.092548 * x * z,
            0.546274 * (x * x - y * y),
        ],
        -1,
    )


def light_from(sky: np.ndarray, floor_colour: np.ndarray) -> Light:
    """Prepare a map (HEIGHT, WIDTH, 3) over a floor of a linear colour.

    The brightest spot becomes one lamp that throws shadows, the rest ambient light (irradiance by
    spherical harmonics: Ramamoorthi and Hanrahan, SIGGRAPH 2001). The lower half gives way to
    the floor, lit from above.
    """
    directions, solid = _directions()
    sky = sky.astype(np.float32).copy()
    upper = directions[..., 2] > 0
    grey = sky.mean(2) * upper
    ambient_level = (grey * solid).sum() / (2 * np.pi)
    sky /= max(ambient_level, 1e-6)
    grey /= max(ambient_level, 1e-6)
    spread = gaussian_filter(grey, 2.0, mode=("nearest", "wrap"))
    peak = np.unravel_index(int(np.argmax(spread * (directions[..., 2] > 0.12))), spread.shape)
    near = directions @ directions[peak] > np.cos(np.radians(14))
    ceiling = max(4.0, float(np.percentile(grey[upper], 90)))
    excess = np.where(
        (near & (grey > ceiling))[..., None],
        sky * (1 - ceiling / np.maximum(grey, ceiling))[..., None],
        0,
    )
    strength = (excess * solid[..., None]).sum((0, 1)) / np.pi
    weight = excess.mean(2) * solid
    centre = directions[peak]
    if weight.sum() > 1e-6:
        centre = (directions * weight[..., None]).sum((0, 1))
        centre = centre / np.linalg.norm(centre)
        spread_angle = float(
            np.sqrt((weight * (1 - (directions @ centre) ** 2)).sum() / weight.sum())
        )
    else:
        spread_angle = 0.3
    strength = np.minimum(strength, 12 * strength / max(float(strength.max()), 1e-6))
    rest = sky - excess
    down = (rest[upper] * (directions[..., 2] * solid)[upper][:, None]).sum(0) / np.pi
    bounced = floor_colour * (down + strength * max(centre[2], 0) * 0.8)
    rest[~upper] = bounced
    sky[~upper] = bounced
    coefficients = np.einsum(
        "yxk,yxc,yx->kc", basis(directions), rest, np.broadcast_to(solid, grey.shape)
    )
    band = np.array([1.0] + [2 / 3] * 3 + [1 / 4] * 5)
    return Light(
        _blurred(np.minimum(sky, 60)),
        (coefficients * band[:, None]).astype(np.float32),
        centre.astype(np.float32),
        strength.astype(np.float32),
        float(np.clip(spread_angle, 0.02, 0.35)),
    )


def _blurred(sky: np.ndarray) -> np.ndarray:
    """Blur ever smaller copies of the map, each laid over the full size again."""
    levels, small = [sky], sky
    for level in range(1, LEVELS):
        if level < LEVELS - 1:
            rows, columns = small.shape[0] // 2, small.shape[1] // 2
            small = small.reshape(rows, 2, columns, 2, 3).mean((1, 3))
        small = gaussian_filter(small, (1.2, 1.6, 0), mode=("nearest", "wrap", "nearest"))
        levels.append(_widened(small))
    return np.stack(levels).astype(np.float32)


def _widened(small: np.ndarray) -> np.ndarray:
    bands = [
        np.asarray(
            Image.fromarray(small[..., c]).resize((WIDTH, HEIGHT), Image.Resampling.BILINEAR)
        )
        for c in range(3)
    ]
    return np.stack(bands, 2)


@lru_cache(maxsize=32)
def _scanned(path: Path) -> np.ndarray:
    pixels = np.load(path) if path.suffix == ".npy" else _exr(path)
    pixels = np.asarray(pixels, np.float32)
    pixels = np.nan_to_num(np.minimum(pixels, 3e4))
    rows, columns = pixels.shape[0] // HEIGHT, pixels.shape[1] // WIDTH
    return pixels.reshape(HEIGHT, rows, WIDTH, columns, 3).mean((1, 3))


def _exr(path: Path) -> np.ndarray:
    import OpenEXR  # not needed where maps are arrays, or where there are none

    return OpenEXR.File(str(path)).channels()["RGB"].pixels


def scanned_maps(folder: Path | None, *, held: bool) -> list[Path]:
    """Environment maps of this half; none where there is no folder."""
    if folder is None or not folder.is_dir():
        return []
    found = sorted([*folder.glob("*.exr"), *folder.glob("*.npy")])
    return [p for i, p in enumerate(found) if (i % _HELD_EVERY == _HELD_EVERY - 1) == held]


def draw_map(dice: Dice, folder: Path | None, *, share: float = 0.5) -> np.ndarray:
    """Draw a map, linear (HEIGHT, WIDTH, 3), a scanned one in `share` of the draws."""
    maps = scanned_maps(folder, held=dice.held)
    if maps and dice.chance(share):
        sky = np.roll(_scanned(dice.pick(maps)), dice.whole(0, WIDTH - 1), axis=1)
        return sky[:, ::-1] if dice.chance(0.5) else sky
    return made_map(dice)


def made_map(dice: Dice) -> np.ndarray:
    """Sky or room by rule: a vertical gradient, windows, ceiling lamps, dark furniture."""
    directions, _ = _directions()
    up = directions[..., 2:]
    warm = _temperature(dice.between(-0.8, 1.0))
    cool = _temperature(dice.between(-1.0, 0.3))
    kind = dice.pick(("room", "room", "overcast", "sun", "flash"))
    high, low = dice.between(0.5, 1.2), dice.between(0.15, 0.7)
    sky = (low + (high - low) * np.clip(up * 0.5 + 0.5, 0, 1)) * cool
    if kind == "sun":
        _disc(
            sky, dice, directions, dice.between(2, 5), dice.between(600, 2500) * _temperature(0.2)
        )
    elif kind == "flash":
        _disc(
            sky,
            dice,
            directions,
            dice.between(3, 8),
            dice.between(80, 400) * cool,
            height=(0.7, 0.99),
        )
    elif kind == "room":
        for _ in range(dice.whole(1, 3)):
            _window(sky, dice, dice.between(4, 25) * cool)
        for _ in range(dice.whole(0, 3)):
            size = dice.between(4, 14)
            _disc(sky, dice, directions, size, dice.between(8, 60) * warm, height=(0.5, 0.99))
        for _ in range(dice.whole(0, 5)):
            _window(sky, dice, dice.between(0.02, 0.4) * dice.grey(0.3, 0.9, 0.2), low=True)
    return sky.astype(np.float32)


def _temperature(warmth: float) -> np.ndarray:
    """White of a lamp, from cold (-1) to warm (1)."""
    return np.array([1 + 0.28 * warmth, 1.0, 1 - 0.38 * warmth])


def _disc(
    sky: np.ndarray,
    dice: Dice,
    directions: np.ndarray,
    degrees: float,
    colour: np.ndarray,
    height: tuple[float, float] = (0.25, 0.95),
) -> None:
    z, turn = dice.between(*height), dice.between(0, 2 * np.pi)
    flat = np.sqrt(1 - z * z)
    centre = np.array([flat * np.cos(turn), flat * np.sin(turn), z])
    edge = np.clip((directions @ centre - np.cos(np.radians(degrees))) * 400, 0, 1)
    sky += edge[..., None] * colour


def _window(sky: np.ndarray, dice: Dice, colour: np.ndarray, *, low: bool = False) -> None:
    top = dice.whole(HEIGHT // 4, HEIGHT // 2) if low else dice.whole(HEIGHT // 10, HEIGHT * 2 // 5)
    tall, wide = dice.whole(HEIGHT // 12, HEIGHT // 3), dice.whole(WIDTH // 20, WIDTH // 5)
    left = dice.whole(0, WIDTH - 1)
    columns = (np.arange(wide) + left) % WIDTH
    sky[top : top + tall, columns] = colour
    if not low and dice.chance(0.6):  # glazing bars
        sky[top : top + tall, columns[:: max(3, wide // dice.whole(2, 4))]] = 0.3
        sky[top + tall // 2, columns] = 0.3
