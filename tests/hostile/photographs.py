"""Photographs of every format with a place in all metadata they can hold, and how to break them."""

from __future__ import annotations

import io
import random
from functools import cache

import numpy as np
from PIL import Image, ImageCms, PngImagePlugin

SEED = 2026
SECRET = b"52 31 12 N secret place"
MAKER = b"SecretCameraMaker"
FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "TIFF", "BMP")
SPOTS = (16, 64, 400, 1 << 30)
"""How far from its beginning a file is changed: headers break more than pixels."""
NUMBERS = (b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\xff\xff", b"\0\x01")
MARKERS = (b"\xff\xda", b"\xff\xc0", b"\xff\xc2", b"\xff\xd8", b"IDAT", b"VP8L", b"\x2c\0")


@cache
def photographs() -> dict[str, tuple[bytes, ...]]:
    """Return whole files by format, small enough to be many."""
    noise = np.random.default_rng(SEED).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    image = Image.fromarray(noise)
    smooth = image.resize((400, 300), Image.Resampling.BICUBIC)
    exif = _exif()
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    text = _png_text()
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/">' + SECRET + b"</x:xmpmeta>"
    more = {"save_all": True, "append_images": [image, image]}
    made: list[tuple[Image.Image, str, str, dict[str, object]]] = [
        (image, "RGB", "JPEG", {"exif": exif, "comment": SECRET, "xmp": xmp}),
        (smooth, "RGB", "JPEG", {"exif": exif, "icc_profile": icc, "quality": 60}),
        (smooth, "RGB", "JPEG", {"exif": exif, "progressive": True}),
        (image, "L", "JPEG", {"exif": exif, "subsampling": 0}),
        (image, "CMYK", "JPEG", {"exif": exif}),
        (image, "RGB", "PNG", {"exif": exif, "pnginfo": text}),
        (smooth, "RGBA", "PNG", {"exif": exif, "icc_profile": icc}),
        (image, "P", "PNG", {"exif": exif, "pnginfo": text}),
        (image, "1", "PNG", {"exif": exif}),
        (image, "I;16", "PNG", {"exif": exif, "pnginfo": text}),
        (image, "RGB", "PNG", {"exif": exif, **more}),
        (smooth, "RGB", "WEBP", {"exif": exif, "xmp": xmp, "icc_profile": icc}),
        (image, "RGBA", "WEBP", {"exif": exif, "lossless": True}),
        (image, "RGB", "WEBP", {"exif": exif, "lossless": True, **more}),
        (image, "P", "GIF", {"comment": SECRET, **more}),
        (smooth, "P", "GIF", {"comment": SECRET}),
        (image, "RGB", "TIFF", {"exif": exif, "compression": "tiff_lzw", "description": SECRET}),
        (smooth, "RGB", "TIFF", {"exif": exif, "compression": "jpeg"}),
        (image, "RGB", "TIFF", {"exif": exif, "compression": "tiff_deflate", **more}),
        (image, "L", "TIFF", {"exif": exif}),
        (image, "L", "BMP", {}),
    ]
    found: dict[str, list[bytes]] = {each: [] for each in FORMATS}
    for picture, mode, form, options in made:
        out = io.BytesIO()
        (picture.convert("L") if mode == "I;16" else picture).convert(mode).save(
            out, form, **options
        )
        found[form].append(out.getvalue())
    return {form: tuple(files) for form, files in found.items()}


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    exif[0x010F] = MAKER.decode()
    exif.get_ifd(0x8769).update({0x9286: b"ASCII\0\0\0" + SECRET, 0x927C: SECRET})
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 31.0, 12.0), 3: "E", 4: (4.0, 5.0, 6.0)})
    exif.get_ifd(0x8825)[27] = SECRET
    return exif


def _png_text() -> PngImagePlugin.PngInfo:
    text = PngImagePlugin.PngInfo()
    text.add_text("Comment", SECRET.decode())
    text.add_text("Compressed", SECRET.decode(), zip=True)
    text.add_itxt("XML:com.adobe.xmp", SECRET.decode(), "en", "place")
    return text


def mutated(whole: bytes, chance: random.Random) -> bytes:
    """Return a file with a few changes: bits, numbers, markers, cuts, copies, a broken end."""
    data = bytearray(whole)
    for _ in range(chance.choice((0, 1, 1, 2, 4, 16))):
        if not data:
            break
        at = chance.randrange(min(len(data), chance.choice(SPOTS)))
        kind = chance.randrange(6)
        if kind == 0:
            data[at] ^= 1 << chance.randrange(8)
        elif kind == 1:
            number = chance.choice(NUMBERS)
            data[at : at + len(number)] = number
        elif kind == 2:
            data[at:at] = chance.choice(MARKERS)
        elif kind == 3:
            del data[at : at + chance.randrange(40)]
        elif kind == 4:
            start = chance.randrange(len(data))
            data[at:at] = data[start : start + chance.randrange(200)]
        else:
            del data[at:]
    return bytes(data)
