"""Printed surfaces and other textures: labels, packets, written pages, stains."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from training.makers.dice import Dice
from training.makers.noise import tile_noise

SIZE = 256
_SYLLABLES = (
    "ba co de fi gu ha ki lo mi nu pa qui ro sa te vo wa xi yo zu lan mer tor fen dal".split()
)


def word(dice: Dice, longest: int = 3) -> str:
    """Invent a word."""
    made = "".join(dice.pick(_SYLLABLES) for _ in range(dice.whole(1, longest)))
    return dice.pick((made.upper(), made.title(), made))


@lru_cache(maxsize=64)
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _ink(colour: np.ndarray) -> tuple[int, ...]:
    return tuple(int(255 * c) for c in np.clip(colour, 0, 1))


def palette(dice: Dice, count: int = 4) -> list[np.ndarray]:
    """Colours that a printer would put side by side: a hue, its neighbour or opposite, white."""
    hue = dice.between_apart(0, 1)
    colours = []
    for _ in range(count):
        shift = dice.pick((0, 0, 0.06, 0.5, dice.between(0, 1)))
        colours.append(
            dice.pick(
                (
                    dice.colour((hue + shift, hue + shift + 0.04), (0.5, 1), (0.35, 0.95)),
                    dice.colour((hue + shift, hue + shift + 0.04), (0.1, 0.5), (0.6, 1)),
                    dice.grey(0.9, 1),
                    dice.grey(0.02, 0.2),
                ),
                (5, 2, 2, 1),
            )
        )
    return colours


def print_label(
    dice: Dice, size: tuple[int, int] = (SIZE, SIZE), ground: np.ndarray | None = None
) -> np.ndarray:
    """Packet or label: blocks, discs, stripes, a picture, words, a bar code. Uint8 (h, w, 3)."""
    width, height = size
    colours = palette(dice, 5)
    base = colours[0] if ground is None else ground
    image = Image.new("RGB", size, _ink(base))
    draw = ImageDraw.Draw(image)
    if dice.chance(0.3):
        image.paste(_gradient(size, base, colours[1]))
    for _ in range(dice.whole(0, 5)):
        _shape(draw, dice, width, height, _ink(dice.pick(colours)))
    if dice.chance(0.5):
        _photo(image, dice)
    if dice.chance(0.25):
        _stripes(draw, dice, width, height, _ink(dice.pick(colours)))
    for _ in range(dice.whole(1, 3)):
        ink = dice.pick((dice.pick(colours), dice.grey(0, 0.1), dice.grey(0.95, 1)))
        tall = max(8, int(height * dice.between(0.08, 0.3)))
        spot = (dice.between(-0.05, 0.6) * width, dice.between(0, 0.85) * height)
        draw.text(spot, word(dice), _ink(ink), _font(tall))
    for _ in range(dice.whole(0, 3)):
        x, y = dice.between(0, 0.7) * width, dice.between(0, 0.85) * height
        small_print(draw, dice, (x, y, x + dice.between(0.15, 0.4) * width, y + 0.2 * height))
    if dice.chance(0.4):
        _bars(draw, dice, width, height)
    return np.asarray(image)


def _shape(draw: ImageDraw.ImageDraw, dice: Dice, w: int, h: int, ink: tuple[int, ...]) -> None:
    x, y = dice.between(-0.2, 0.9) * w, dice.between(-0.2, 0.9) * h
    right, low = x + dice.between(0.1, 0.9) * w, y + dice.between(0.1, 0.7) * h
    kind = dice.pick(("disc", "block", "round", "slant"))
    if kind == "disc":
        draw.ellipse((x, y, right, y + (right - x) * h / w), fill=ink)
    elif kind == "block":
        draw.rectangle((0, y, w, low), fill=ink)
    elif kind == "round":
        draw.rounded_rectangle((x, y, right, low), 0.1 * w, fill=ink)
    else:
        draw.polygon([(0, y), (w, y + dice.between(-0.4, 0.4) * h), (w, low), (0, low)], fill=ink)


def _gradient(size: tuple[int, int], a: np.ndarray, b: np.ndarray) -> Image.Image:
    ramp = np.linspace(0, 1, size[1])[:, None, None]
    mixed = np.broadcast_to(a + (b - a) * ramp, (size[1], size[0], 3))
    return Image.fromarray((np.clip(mixed, 0, 1) * 255).astype(np.uint8))


def _photo(image: Image.Image, dice: Dice) -> None:
    """A patch of blobs that stands for a printed photograph."""
    side = int(image.width * dice.between(0.25, 0.6))
    field = [tile_noise(128, dice.rng, slope=1.6) for _ in range(3)]
    base, other = dice.colour((0, 0.2), (0.4, 0.9)), dice.colour(strength=(0.2, 0.8))
    mixed = base + (other - base) * np.clip(field[0] * 0.5 + 0.5, 0, 1)[..., None]
    mixed = mixed * np.clip(1 + 0.3 * field[1], 0.3, 1.4)[..., None]
    patch = Image.fromarray((np.clip(mixed, 0, 1) * 255).astype(np.uint8)).resize((side, side))
    mask = Image.new("L", (side, side), 0)
    ImageDraw.Draw(mask).ellipse((0, 0, side, side), fill=255)
    spot = (dice.whole(0, image.width - side), dice.whole(0, max(0, image.height - side)))
    image.paste(patch, spot, mask if dice.chance(0.7) else None)


def _stripes(draw: ImageDraw.ImageDraw, dice: Dice, w: int, h: int, ink: tuple[int, ...]) -> None:
    step, wide = dice.whole(8, 40), dice.whole(2, 16)
    slant = dice.pick((0, 0, h // 2))
    for x in range(-h, w, step):
        draw.line([(x, 0), (x + slant, h)], ink, wide)


def _bars(draw: ImageDraw.ImageDraw, dice: Dice, w: int, h: int) -> None:
    x, y = dice.between(0, 0.75) * w, dice.between(0, 0.85) * h
    wide, tall = int(0.2 * w), max(8, int(0.12 * h))
    draw.rectangle((x, y, x + wide, y + tall), fill=(250, 250, 250))
    at = int(x) + 2
    while at < x + wide - 3:
        step = dice.whole(1, 3)
        draw.rectangle((at, y + 2, at + step - 1, y + tall - 4), fill=(15, 15, 15))
        at += step + dice.whole(1, 3)


def small_print(
    draw: ImageDraw.ImageDraw, dice: Dice, area: tuple[float, float, float, float], row: int = 5
) -> None:
    """Rows of strokes that stand for small type."""
    x, y, right, low = area
    ink = (dice.whole(0, 90),) * 3
    while y < low:
        at = x
        end = right - (dice.between(0, 0.5) * (right - x) if dice.chance(0.2) else 0)
        while at < end:
            step = dice.between(3, 14)
            draw.line([(at, y), (min(at + step, end), y)], ink, max(1, row // 3))
            at += step + 3
        y += row


def page(dice: Dice, ground: np.ndarray, *, ink: float = 1.0) -> np.ndarray:
    """Printed or written page, uint8 (SIZE, SIZE, 3); `ink` 0 leaves it blank."""
    image = Image.new("RGB", (SIZE, SIZE), _ink(ground))
    if ink <= 0:
        return np.asarray(image)
    draw = ImageDraw.Draw(image)
    kind = dice.pick(("text", "newspaper", "letter", "receipt", "leaflet", "squared", "form"))
    if kind == "leaflet":
        return print_label(dice, ground=ground)
    if kind in ("squared", "form"):
        step = dice.whole(8, 24)
        for at in range(0, SIZE, step):
            draw.line([(0, at), (SIZE, at)], (150, 170, 210), 1)
            if kind == "squared":
                draw.line([(at, 0), (at, SIZE)], (150, 170, 210), 1)
    columns = {"newspaper": dice.whole(3, 5), "text": dice.whole(1, 2)}.get(kind, 1)
    margin = SIZE * dice.between(0.03, 0.12)
    wide = (SIZE - 2 * margin) / columns
    for column in range(columns):
        y = margin
        while y < SIZE - margin:
            tall = dice.between(0.05, 0.4) * SIZE
            x = margin + column * wide
            area = (x, y, x + wide * 0.92, min(y + tall, SIZE - margin))
            if kind == "newspaper" and dice.chance(0.25):
                _block_photo(draw, dice, area)
            elif dice.chance(0.2):
                draw.text((x, y), word(dice), (20, 20, 20), _font(dice.whole(10, 30)))
            else:
                small_print(draw, dice, area, dice.whole(4, 8))
            y += tall + dice.between(4, 30)
    return np.asarray(image)


def _block_photo(draw: ImageDraw.ImageDraw, dice: Dice, area: tuple[float, ...]) -> None:
    tone = dice.pick((dice.grey(0.2, 0.8), dice.colour(strength=(0.2, 0.7))))
    draw.rectangle(area[:4], fill=_ink(tone))
    x, y, right, low = area
    for _ in range(4):
        cx, cy = dice.between(x, right), dice.between(y, low)
        r = dice.between(0.05, 0.3) * (right - x)
        box = (max(x, cx - r), max(y, cy - r), min(right, cx + r), min(low, cy + r))
        if box[2] > box[0] and box[3] > box[1]:
            draw.ellipse(box, fill=_ink(tone * dice.between(0.3, 1.5)))


def stained(picture: np.ndarray, dice: Dice, amount: float = 0.5) -> np.ndarray:
    """Put dirt, wet and greasy patches on a texture."""
    size = picture.shape[0], picture.shape[1]
    field = tile_noise(256, dice.rng, slope=1.6)
    patches = np.clip((field - dice.between(0.4, 1.4)) * 2, 0, 1) * amount
    cover = np.asarray(Image.fromarray(patches.astype(np.float32)).resize(size[::-1]))[..., None]
    dirt = dice.colour((0.03, 0.12), (0.2, 0.8), (0.1, 0.6)) * 255
    mixed = picture[..., :3] * (1 - cover) + dirt * cover
    return np.concatenate([mixed, picture[..., 3:]], 2).astype(np.uint8)


def flat_texture(colour: np.ndarray, size: int = 64) -> np.ndarray:
    """Texture of one colour."""
    return np.broadcast_to((np.clip(colour, 0, 1) * 255).astype(np.uint8), (size, size, 3)).copy()


def torn(picture: np.ndarray, dice: Dice, *, share: float = 0.3) -> np.ndarray:
    """Cut a ragged piece out of a texture: a fourth channel is 0 where paper is gone."""
    size = picture.shape[0]
    y, x = np.mgrid[-1 : 1 : size * 1j, -1 : 1 : size * 1j]
    turn = dice.between(0, 2 * np.pi)
    rough = tile_noise(256, dice.rng, slope=1.3)
    rough = np.asarray(Image.fromarray(rough).resize((size, size)))
    kept = x * np.cos(turn) + y * np.sin(turn) + 0.06 * rough < 1 - 2 * share * dice.between(0.3, 1)
    return np.concatenate([picture[..., :3], (kept * 255).astype(np.uint8)[..., None]], 2)
