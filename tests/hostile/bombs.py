"""Small files that would unfold to gigabytes or take minutes."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterable
from functools import cache

from PIL import Image

from tests.hostile.photographs import SECRET

PNG = b"\x89PNG\r\n\x1a\n"


@cache
def bombs() -> dict[str, bytes]:
    """Return bombs by what they are; each is made once."""
    return {
        "png, header of 100,000 x 100,000": _png(100_000, 100_000, zlib.compress(b"\0" * 1000)),
        "png, header of 30,000 x 30,000, whole": _png(30_000, 30_000, _zeros(900_000_000)),
        "png, 5,000 x 4,990 of 16-bit RGBA": _png(5_000, 4_990, _zeros(199_604_990), depth=16),
        "png, more pixels than its header says": _png(64, 64, _zeros(400_000_000)),
        "png, text of 400 MB": _png(64, 64, _zeros(64 * 257), [_text_chunk()]),
        "png, colour profile of 400 MB": _png(64, 64, _zeros(64 * 257), [_profile_chunk()]),
        "png, 20,000 frames": _animated_png(20_000),
        "gif, canvas of 65,535 x 65,535": _gif(65_535, 65_535),
        "gif, canvas of 10,900 x 10,900": _gif(10_900, 10_900),
        "gif, 5,000 frames": _gif_frames(5_000),
        "tiff, 60,000 x 60,000 in one strip": _tiff(60_000, 60_000),
        "tiff, 20,000 x 5,900 deflated": _tiff(20_000, 5_900, _zeros(354_000_000)),
        "tiff, directories in a ring": _tiff_ring(),
        "webp, canvas of 16,383 x 16,383": _webp(16_383, 16_383),
        "webp, 24 megapixels": _saved("WEBP", (5_900, 4_100), lossless=True),
        "jpeg, header of 65,500 x 65,500": _jpeg_header(65_500, 65_500),
        "jpeg, 119 megapixels": _saved("JPEG", (13_000, 9_150)),
        "jpeg, 119 megapixels, grey": _saved("JPEG", (13_000, 9_150), mode="L"),
        "jpeg, 24 megapixels, progressive": _saved("JPEG", (6_000, 4_000), progressive=True),
        "jpeg, 39 MB of fill bytes": _flood(b"\xff", 39_000_000),
        "jpeg, 9 million empty segments": _flood(b"\xff\xfe\0\x02", 9_000_000),
        "jpeg, 3,000 scans": _jpeg_scans(3_000),
        "jpeg, 32 x 65,000": _saved("JPEG", (32, 65_000)),
        "bmp, header of 60,000 x 60,000": _bmp(60_000, 60_000),
        "zeros, 39 MB": bytes(39_000_000),
        "jpeg, then 39 MB": _saved("JPEG", (64, 64)) + SECRET + bytes(39_000_000),
    }


def _flood(piece: bytes, count: int) -> bytes:
    """Return a JPEG with so many pieces between its start and its first segment."""
    whole = _saved("JPEG", (64, 64))
    return whole[:2] + piece * count + whole[2:]


def _zeros(count: int) -> bytes:
    """Return that many zero bytes, deflated, without ever holding them."""
    packer = zlib.compressobj(9)
    block, parts = bytes(1_000_000), []
    for _ in range(count // len(block)):
        parts.append(packer.compress(block))
    parts.append(packer.compress(bytes(count % len(block))))
    return b"".join([*parts, packer.flush()])


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def _png(
    width: int, height: int, pixels: bytes, extra: Iterable[bytes] = (), *, depth: int = 8
) -> bytes:
    header = struct.pack(">IIBBBBB", width, height, depth, 6 if depth == 16 else 0, 0, 0, 0)
    return b"".join(
        [PNG, _chunk(b"IHDR", header), *extra, _chunk(b"IDAT", pixels), _chunk(b"IEND", b"")]
    )


def _text_chunk() -> bytes:
    return _chunk(b"zTXt", b"Comment\0\0" + _zeros(400_000_000))


def _profile_chunk() -> bytes:
    return _chunk(b"iCCP", b"profile\0\0" + _zeros(400_000_000))


def _animated_png(frames: int) -> bytes:
    control = _chunk(b"acTL", struct.pack(">II", frames, 0))
    parts = [control]
    for number in range(frames):
        parts.append(_chunk(b"fcTL", struct.pack(">IIIIIHHBB", number, 64, 64, 0, 0, 1, 1, 0, 0)))
    return _png(64, 64, _zeros(64 * 65), parts)


def _gif(width: int, height: int) -> bytes:
    head = b"GIF89a" + struct.pack("<HHBBB", width, height, 0x80, 0, 0) + bytes(6)
    image = b"," + struct.pack("<HHHHB", 0, 0, width, height, 0) + b"\x02\x02\x44\x01\x00"
    return head + image + b";"


def _gif_frames(frames: int) -> bytes:
    head = b"GIF89a" + struct.pack("<HHBBB", 2_000, 2_000, 0x80, 0, 0) + bytes(6)
    image = b"," + struct.pack("<HHHHB", 0, 0, 2_000, 2_000, 0) + b"\x02\x02\x44\x01\x00"
    return head + image * frames + b";"


def _tiff(width: int, height: int, pixels: bytes = b"\0" * 100) -> bytes:
    deflated = len(pixels) > 100
    entries = [
        (256, 4, width),
        (257, 4, height),
        (258, 3, 8),
        (259, 3, 8 if deflated else 1),
        (262, 3, 1),
        (273, 4, 8),
        (277, 3, 3 if deflated else 1),
        (278, 4, height),
        (279, 4, len(pixels)),
    ]
    directory = struct.pack("<H", len(entries))
    for tag, kind, value in entries:
        directory += struct.pack("<HHII", tag, kind, 1, value)
    pixels += b"\0" * (len(pixels) % 2)
    return b"II*\0" + struct.pack("<I", 8 + len(pixels)) + pixels + directory + bytes(4)


def _tiff_ring() -> bytes:
    entry = struct.pack("<HHII", 34665, 4, 1, 8) + struct.pack("<HHII", 330, 4, 1, 8)
    return b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", 2) + entry + struct.pack("<I", 8)


def _webp(width: int, height: int) -> bytes:
    size = (width - 1) | (height - 1) << 14
    body = b"VP8L" + struct.pack("<I", 9) + b"\x2f" + struct.pack("<I", size) + bytes(5)
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def _saved(form: str, size: tuple[int, int], *, mode: str = "RGB", **options: object) -> bytes:
    out = io.BytesIO()
    Image.new(mode, size).save(out, form, **options)
    return out.getvalue()


def _jpeg_header(width: int, height: int) -> bytes:
    small = bytearray(_saved("JPEG", (64, 64)))
    at = small.index(b"\xff\xc0")
    small[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(small)


def _jpeg_scans(scans: int) -> bytes:
    whole = _saved("JPEG", (2_000, 2_000), progressive=True)
    start = whole.index(b"\xff\xda")
    end = whole.index(b"\xff\xda", start + 2)
    return whole[:end] + whole[start:end] * scans + whole[end:]


def _bmp(width: int, height: int) -> bytes:
    info = struct.pack("<IiiHHIIiiII", 40, width, height, 1, 24, 0, 0, 0, 0, 0, 0)
    return b"BM" + struct.pack("<IHHI", 1_000, 0, 0, 54) + info + bytes(946)
