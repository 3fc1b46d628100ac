"""Looks at every byte that was kept: no place, no camera, nothing but pixels."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

from tests.hostile.photographs import MAKER, SECRET

_ALLOWED = {0xE0, 0xDB, 0xC0, 0xC4, 0xDA, 0xDD}
"""JFIF head, quantisation, frame, Huffman tables, scan, restart interval."""


def traces(folder: Path) -> list[str]:
    """Return where something of a photo's metadata is left in a data folder, all files read."""
    found = []
    for path in sorted(each for each in folder.rglob("*") if each.is_file()):
        data = path.read_bytes()
        found += [f"{path.name}: {what}" for what, text in _secrets() if text in data]
        if path.suffix == ".jpg":
            found += [f"{path.name}: {fault}" for fault in faults_of_jpeg(data)]
    return found


def _secrets() -> Iterator[tuple[str, bytes]]:
    yield "place", SECRET
    yield "camera", MAKER
    yield "place in UTF-16", SECRET.decode().encode("utf-16-le")
    yield "place in UTF-16", SECRET.decode().encode("utf-16-be")
    for order in "<>":
        yield "degrees as EXIF has them", struct.pack(f"{order}6I", 52, 1, 31, 1, 12, 1)
    yield "XMP", b"adobe:ns:meta"
    yield "EXIF", b"Exif\0\0"


def faults_of_jpeg(data: bytes) -> list[str]:
    """Return what a JPEG holds beside its pixels."""
    if not data.startswith(b"\xff\xd8"):
        return ["no JPEG"]
    found: list[str] = []
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            return [*found, f"no segment at {at}"]
        kind, (length,) = data[at + 1], struct.unpack(">H", data[at + 2 : at + 4])
        if kind not in _ALLOWED:
            found.append(f"segment {kind:02x} of {length} bytes")
        at += 2 + length
        if kind == 0xDA:
            break
    end = data.rfind(b"\xff\xd9")
    if end != len(data) - 2:
        found.append("bytes after its end")
    return found
