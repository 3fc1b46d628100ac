"""Small pictures and files that are no pictures, made in code for the tests of bad input."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
from PIL import Image, ImageCms, ImageOps
from PIL.TiffImagePlugin import IFDRational

RED, GREEN, BLUE, WHITE = (220, 30, 30), (30, 200, 30), (30, 30, 220), (255, 255, 255)
QUARTERS = (RED, GREEN, BLUE, (230, 220, 40))  # top left, top right, bottom left, bottom right


def quartered(width: int = 160, height: int = 120) -> Image.Image:
    """Return a picture whose four quarters differ, so that its orientation shows."""
    image = Image.new("RGB", (width, height))
    for index, colour in enumerate(QUARTERS):
        left, top = (index % 2) * width // 2, (index // 2) * height // 2
        image.paste(colour, (left, top, left + width // 2, top + height // 2))
    return image


def encoded(image: Image.Image, form: str = "JPEG", **options: object) -> bytes:
    """Return the bytes of `image` in the format `form`."""
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


def jpeg(width: int = 160, height: int = 120) -> bytes:
    """Return a plain JPEG."""
    return encoded(quartered(width, height), quality=95)


def scans_jpeg(more: int) -> bytes:
    """Return a progressive JPEG whose last scan is repeated `more` times."""
    whole = encoded(quartered(), progressive=True)
    end = len(whole) - 2
    return whole[:end] + whole[whole.rindex(b"\xff\xda") : end] * more + whole[end:]


def turned_jpeg(orientation: int, width: int = 160, height: int = 120) -> bytes:
    """Return a JPEG whose EXIF tag turns its stored pixels upright again, with a place in it."""
    undo = {2: 2, 3: 3, 4: 4, 5: 5, 6: 8, 7: 7, 8: 6}
    exif = Image.Exif()
    exif[0x0112] = undo.get(orientation, 1)
    stored = ImageOps.exif_transpose(_tagged(quartered(width, height), exif))
    exif[0x0112] = orientation
    exif[0x010F] = "Camera maker"
    exif.get_ifd(0x8825)[2] = (IFDRational(52), IFDRational(31), IFDRational(12))
    return encoded(stored, quality=95, exif=exif, comment=b"a private remark")


def _tagged(image: Image.Image, exif: Image.Exif) -> Image.Image:
    return Image.open(io.BytesIO(encoded(image, "PNG", exif=exif)))


def truncated_jpeg() -> bytes:
    """Return the first half of a JPEG."""
    whole = jpeg(320, 240)
    return whole[: len(whole) // 2]


def truncated_png() -> bytes:
    """Return the first two thirds of a PNG of noise."""
    noise = np.random.default_rng(1).integers(0, 256, (64, 64, 3), dtype=np.uint8)
    whole = encoded(Image.fromarray(noise), "PNG")
    return whole[: len(whole) * 2 // 3]


def png_header(width: int, height: int) -> bytes:
    """Return a PNG of a few bytes whose header claims `width` x `height` pixels."""
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(b"\0" * 99)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )


def compressed_bomb() -> bytes:
    """Return a PNG of some 20 kB that unfolds to 20 megapixels of one colour."""
    return encoded(Image.new("1", (5000, 4000)), "PNG", optimize=True)


def animated_gif() -> bytes:
    """Return a GIF of three frames, the first one red."""
    frames = [Image.new("RGB", (80, 60), colour) for colour in (RED, GREEN, BLUE)]
    return encoded(frames[0], "GIF", save_all=True, append_images=frames[1:], duration=100)


def gif_of(width: int, height: int) -> bytes:
    """Return a GIF of some 400 bytes whose header claims `width` x `height` pixels."""
    whole = bytearray(animated_gif())
    whole[6:10] = struct.pack("<HH", width, height)
    frame = whole.index(b"\x2c\0\0\0\0")
    whole[frame + 5 : frame + 9] = struct.pack("<HH", width, height)
    return bytes(whole)


def cmyk_jpeg() -> bytes:
    """Return a JPEG for print, in four inks."""
    return encoded(quartered().convert("CMYK"), quality=95)


def sixteen_bit_png() -> bytes:
    """Return a grey PNG of 16 bits: black at the left to white at the right."""
    ramp = np.linspace(0, 65535, 256).astype(np.uint16)
    return encoded(Image.fromarray(np.tile(ramp, (64, 1))), "PNG")


def palette_png() -> bytes:
    """Return a PNG with a palette: its left half is red, its right half transparent."""
    image = Image.new("P", (80, 60), 0)
    image.putpalette([*RED, *BLUE])
    image.paste(1, (40, 0, 80, 60))
    return encoded(image, "PNG", transparency=1)


def half_clear(mode: str = "RGBA") -> bytes:
    """Return a PNG in `mode` (RGBA or LA) whose right half is transparent."""
    image = Image.new("RGBA", (80, 60), (*RED, 255))
    image.paste((0, 0, 0, 0), (40, 0, 80, 60))
    return encoded(image.convert(mode), "PNG")


def swapped_profile() -> bytes:
    """Return an ICC profile that is not sRGB (CIE Lab can't be attached to RGB pixels)."""
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()


def box_file(brand: bytes) -> bytes:
    """Return the first bytes of an ISO media file (video, HEIC, AVIF) of `brand`."""
    return struct.pack(">I", 24) + b"ftyp" + brand + b"\0\0\0\0" + brand + b"mp41" + b"\0" * 64


def text_as_jpeg() -> bytes:
    """Return a shopping list that someone named list.jpg."""
    return "milk, bread, 2 jars of résumé paper\n".encode() * 40
