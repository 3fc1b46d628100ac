"""How many passes a JPEG needs, said from its markers."""

from __future__ import annotations

import pytest
from PIL import Image

from classifier.errors import UnreadablePhotoError
from classifier.inference.jpeg_scans import MOST_FILL_BYTES, MOST_MARKERS, count_scans
from tests import pictures

EMPTY_SEGMENT = b"\xff\xe1\x00\x08\xff\xda\xff\xda\x00\x00"
"""Metadata that holds what looks like the start of two scans."""


def frame(kind: int, components: int) -> bytes:
    return bytes([0xFF, kind, 0, 11, 8, 0, 1, 0, 1, components]) + bytes(3)


def scan(components: int) -> bytes:
    return b"\xff\xda\x00\x08" + bytes([components]) + bytes(5) + b"\x12\xff\x00\xff\xd0\x34"


def test_pictures_that_pillow_writes() -> None:
    assert count_scans(pictures.jpeg()) == 1
    assert count_scans(pictures.cmyk_jpeg()) == 1
    assert count_scans(pictures.encoded(Image.new("L", (40, 40)))) == 1
    assert count_scans(pictures.scans_jpeg(0)) == 10
    assert count_scans(pictures.scans_jpeg(90)) == 100


@pytest.mark.parametrize("data", [b"", pictures.palette_png(), pictures.text_as_jpeg()])
def test_other_files_have_none(data: bytes) -> None:
    assert count_scans(data) == 0


@pytest.mark.parametrize(
    ("data", "scans"),
    [
        (frame(0xC0, 3) + scan(3), 1),
        (EMPTY_SEGMENT + frame(0xC1, 3) + scan(3), 1),
        (b"\xff\xff\xff" + frame(0xC0, 3)[1:] + b"\xff\x01" + scan(3), 1),
        (EMPTY_SEGMENT + frame(0xC0, 3) + 3 * scan(1), 3),
        (EMPTY_SEGMENT + frame(0xC2, 1) + scan(1), 2),
        (frame(0xC2, 3) + 7 * scan(3), 7),
        (frame(0xC9, 3) + 2 * scan(3), 2),
        (b"", 1),
        (b"\xff", 1),
        (frame(0xC2, 3)[:6], 1),
        (b"\xff\xe1\xff\xff" + bytes(9), 1),
    ],
)
def test_layouts(data: bytes, scans: int) -> None:
    assert count_scans(b"\xff\xd8" + data) == scans


@pytest.mark.parametrize(
    "flood",
    [
        b"\xff" * (MOST_FILL_BYTES + 2),
        b"\0" * (MOST_FILL_BYTES + 2),
        b"\xff\0" * (MOST_MARKERS + 2),
        b"\xff\xd0" * (MOST_MARKERS + 2),
        b"\xff\xfe\0\x02" * (MOST_MARKERS + 2),
    ],
)
def test_floods_before_the_picture_are_refused(flood: bytes) -> None:
    """Each would cost a decoder a step in Python; a few are passed over."""
    whole = pictures.jpeg()
    with pytest.raises(UnreadablePhotoError, match=r"before its picture.*save it as plain JPEG"):
        count_scans(whole[:2] + flood + whole[2:])
    assert count_scans(whole[:2] + flood[:400] + whole[2:]) == 1
