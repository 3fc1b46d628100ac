"""Invented printed surfaces, drawn with Pillow: colour bands, plain words and pseudo-text."""

from __future__ import annotations

import colorsys
import math
import random

import bpy
import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

Colour = tuple[int, int, int]
SYLLABLES = ("la", "mo", "ri", "ten", "sa", "ve", "ko", "dun", "el", "pa", "ni", "ros", "tu", "be")
INK: Colour = (40, 38, 36)


def to_blender(image: Image.Image, name: str) -> bpy.types.Image:
    """Copy a Pillow picture into the Blender file in memory."""
    rgba = np.asarray(image.convert("RGBA"), np.float32)[::-1] / 255.0
    result = bpy.data.images.new(name, image.width, image.height)
    result.pixels.foreach_set(np.ascontiguousarray(rgba).ravel())
    result.pack()
    return result


def pseudo_words(rng: random.Random, count: int) -> str:
    """`count` words that mean nothing."""
    return " ".join("".join(rng.choices(SYLLABLES, k=rng.randint(1, 4))) for _ in range(count))


def vivid(rng: random.Random, hue: float | None = None, value: float | None = None) -> Colour:
    """A strong printing colour."""
    hue = rng.random() if hue is None else hue % 1.0
    value = rng.uniform(0.45, 0.95) if value is None else value
    red, green, blue = colorsys.hsv_to_rgb(hue, rng.uniform(0.55, 0.95), value)
    return round(red * 255), round(green * 255), round(blue * 255)


def _text_block(draw: ImageDraw.ImageDraw, rng: random.Random, box: tuple[int, int, int, int],
                size: int, ink: Colour) -> None:
    """Fill `box` (left, top, right, bottom, in pixels) with lines of pseudo-text."""
    font = ImageFont.load_default(size)
    top = box[1]
    while top + size < box[3]:
        line = pseudo_words(rng, 14)
        while line and draw.textlength(line, font) > box[2] - box[0]:
            line = line.rsplit(" ", 1)[0] if " " in line else ""
        draw.text((box[0], top), line, ink, font)
        top += round(size * 1.3)


def _barcode(draw: ImageDraw.ImageDraw, rng: random.Random, left: int, top: int) -> None:
    """A block of random bars, 90 by 60 pixels."""
    draw.rectangle((left - 8, top - 6, left + 98, top + 66), (250, 250, 250))
    x = left
    while x < left + 90:
        width = rng.choice((1, 2, 3))
        draw.rectangle((x, top, x + width - 1, top + 60), (10, 10, 10))
        x += width + rng.choice((1, 2, 3))


def _shapes(draw: ImageDraw.ImageDraw, rng: random.Random, width: int, height: int,
            hue: float) -> None:
    """One of a few abstract backgrounds: bands, discs or waves."""
    style = rng.choice(("bands", "discs", "waves"))
    for index in range(rng.randint(2, 4)):
        colour = vivid(rng, hue + rng.choice((0.0, 0.08, 0.5)) + rng.uniform(-0.04, 0.04))
        if style == "bands":
            top = rng.randint(0, height)
            draw.rectangle((0, top, width, top + rng.randint(20, height // 4)), colour)
        elif style == "discs":
            radius = rng.randint(height // 8, height // 3)
            for x in (rng.randint(0, width // 2), rng.randint(width // 2, width)):
                y = rng.randint(0, height)
                draw.ellipse((x - radius, y - radius, x + radius, y + radius), colour)
        else:
            base = height * (0.55 + 0.15 * index)
            crest = [(x, base + height * 0.07 * math.sin(x / width * 4 * math.pi + index))
                     for x in range(0, width + 8, 8)]
            draw.polygon([*crest, (width, height), (0, height)], colour)


def package(rng: random.Random, word: str, size: tuple[int, int] = (1024, 512),
            repeats: int = 2, light: bool = False) -> Image.Image:
    """A packaging print with `word` set `repeats` times across the width."""
    width, height = size
    hue = rng.random()
    ground = (244, 241, 232) if light else vivid(rng, hue)
    image = Image.new("RGB", size, ground)
    draw = ImageDraw.Draw(image)
    _shapes(draw, rng, width, height, hue)
    panel = width // repeats
    for index in range(repeats):
        centre = panel * index + panel // 2
        font_size = min(round(panel * 0.95 / max(3, len(word)) * 1.35), height // 3)
        font = ImageFont.load_default(font_size)
        text_width = draw.textlength(word, font)
        middle = round(height * 0.38)
        draw.rounded_rectangle(
            (centre - text_width / 2 - 14, middle - font_size * 0.7,
             centre + text_width / 2 + 14, middle + font_size * 0.75), 16, (250, 248, 240))
        draw.text((centre, middle), word, vivid(rng, hue, 0.4), font, anchor="mm")
        _text_block(draw, rng, (centre - panel // 5, round(height * 0.62), centre + panel // 5,
                                round(height * 0.78)), max(9, height // 34), (250, 248, 240))
        _barcode(draw, rng, min(width - 110, panel * (index + 1) - 60), round(height * 0.76))
    return image


def newspaper(rng: random.Random, size: tuple[int, int] = (900, 1200)) -> Image.Image:
    """A page of pseudo-text in columns with grey pictures."""
    width, height = size
    image = Image.new("RGB", size, (222, 218, 206))
    draw = ImageDraw.Draw(image)
    title = pseudo_words(rng, 2).upper()
    draw.text((width / 2, 55), title, INK, ImageFont.load_default(58), anchor="mm")
    draw.line((30, 100, width - 30, 100), INK, 3)
    columns = 4
    column = (width - 60) // columns
    for index in range(columns):
        left, top = 30 + index * column, 115
        while top < height - 60:
            block = rng.randint(160, 380)
            bottom = min(top + block, height - 40)
            if rng.random() < 0.25:
                _grey_picture(image, rng, (left, top, left + column - 16, bottom - 14))
            else:
                draw.text((left, top), pseudo_words(rng, 1).title(), INK,
                          ImageFont.load_default(26))
                _text_block(draw, rng, (left, top + 36, left + column - 16, bottom - 10), 11, INK)
            top = bottom
    return image


def _grey_picture(image: Image.Image, rng: random.Random, box: tuple[int, int, int, int]) -> None:
    """Paste a blurred grey scene into `box`."""
    width, height = max(8, box[2] - box[0]), max(8, box[3] - box[1])
    gen = np.random.default_rng(rng.getrandbits(32))
    small = Image.fromarray(gen.integers(50, 200, (5, 4), dtype=np.uint8))
    picture = small.resize((width, height), Image.Resampling.BICUBIC)
    image.paste(picture.filter(ImageFilter.GaussianBlur(2)).convert("RGB"), box[:2])


def leaflet(rng: random.Random, size: tuple[int, int] = (700, 1000)) -> Image.Image:
    """A bright advertising leaflet with coloured offers and pseudo-text."""
    width, height = size
    image = Image.new("RGB", size, (247, 246, 242))
    draw = ImageDraw.Draw(image)
    hue = rng.random()
    draw.rectangle((0, 0, width, height // 7), vivid(rng, hue))
    draw.text((width / 2, height / 14), rng.choice(("SPRING OFFERS", "GARDEN WEEK", "OPEN DAY")),
              (255, 255, 255), ImageFont.load_default(66), anchor="mm")
    for row in range(3):
        for column in range(2):
            left, top = 30 + column * width // 2, height // 6 + row * height * 27 // 100
            draw.rectangle((left, top, left + 290, top + 150), vivid(rng))
            radius = rng.randint(35, 60)
            draw.ellipse((left + 150 - radius, top + 75 - radius, left + 150 + radius,
                          top + 75 + radius), vivid(rng, hue + 0.5))
            _text_block(draw, rng, (left, top + 160, left + 290, top + 235), 15, INK)
    return image
