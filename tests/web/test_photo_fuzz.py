"""Mutated photographs over HTTP: none crashes the service, holds it up or leaves a place behind."""

from __future__ import annotations

import io
import random
import time
from collections import Counter

import numpy as np
import pytest
from fastapi.testclient import TestClient
from PIL import Image

from classifier.domain.records import SortInfo
from service.settings import Settings
from service.usecases.services import Services
from tests.fakes import new_id

FILES = 500
SEED = 2026
LONGEST_S = 2.0
SECRET = b"52 31 12 N secret place"
SPOTS = (16, 64, 400, 1 << 30)
"""How far from its beginning a file is changed: headers break more than pixels."""
NUMBERS = (b"\0\0\0\0", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\xff\xff", b"\0\x01")
MARKERS = (b"\xff\xda", b"\xff\xc0", b"\xff\xc2", b"\xff\xd8", b"IDAT", b"VP8L", b"\x2c\0")


def _photographs() -> list[bytes]:
    """Return small files of every format, with a place in whatever metadata each can hold."""
    noise = np.random.default_rng(SEED).integers(0, 256, (60, 80, 3), dtype=np.uint8)
    image = Image.fromarray(noise)
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 31.0, 12.0), 27: SECRET})
    forms: list[tuple[str, str, dict[str, object]]] = [
        ("RGB", "JPEG", {"exif": exif, "comment": SECRET, "xmp": SECRET}),
        ("RGB", "JPEG", {"exif": exif, "progressive": True}),
        ("CMYK", "JPEG", {"exif": exif}),
        ("RGB", "PNG", {"exif": exif}),
        ("RGBA", "PNG", {"exif": exif}),
        ("P", "PNG", {"exif": exif}),
        ("1", "PNG", {"exif": exif}),
        ("RGB", "WEBP", {"exif": exif, "xmp": SECRET}),
        ("RGB", "WEBP", {"lossless": True, "save_all": True, "append_images": [image]}),
        ("P", "GIF", {"comment": SECRET, "save_all": True, "append_images": [image]}),
        ("RGB", "TIFF", {"exif": exif, "compression": "tiff_lzw"}),
        ("RGB", "TIFF", {"exif": exif, "compression": "jpeg"}),
        ("L", "BMP", {}),
    ]
    made = []
    for mode, form, options in forms:
        out = io.BytesIO()
        image.convert(mode).save(out, form, **options)
        made.append(out.getvalue())
    return made


def _mutated(whole: bytes, chance: random.Random) -> bytes:
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


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
def test_mutated_photographs(
    client: TestClient, services: Services, settings: Settings, sort: SortInfo
) -> None:
    """Each is kept as a bare JPEG or refused in words, within two seconds."""
    chance = random.Random(SEED)
    originals = _photographs()
    told: Counter[str] = Counter()
    for number in range(FILES):
        data = _mutated(chance.choice(originals), chance)
        start = time.monotonic()
        response = client.post(
            f"/api/sorts/{sort.id}/captures",
            data={"capture_id": new_id()},
            files={"photo": ("IMG_1.jpg", data, "image/jpeg")},
        )
        assert time.monotonic() - start < LONGEST_S, number
        answer = response.json()
        told[answer["error"]["code"] if "error" in answer else "kept"] += 1
        assert response.status_code in (201, 413, 422), (number, answer)
    assert set(told) <= {"kept", "unreadable_photo", "photo_too_large"}
    assert min(told["kept"], told["unreadable_photo"]) > FILES // 10, told
    assert len(list(services.photos.names())) == told["kept"]
    for name in services.photos.names():
        photo = services.photos.read(name)
        kept = Image.open(io.BytesIO(photo))
        assert (kept.format, kept.mode, len(kept.getexif())) == ("JPEG", "RGB", 0)
        assert kept.info.keys() <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
    for path in settings.data_dir.rglob("*"):
        if path.is_file():
            assert SECRET not in path.read_bytes(), path
