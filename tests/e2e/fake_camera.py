"""A camera for Chromium: a video file of one colour, uncompressed, in the y4m format."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

WIDTH, HEIGHT, FRAMES = 320, 240, 10


def write_video(path: Path, colour: Sequence[int]) -> None:
    """Write a short video of a colour given as red, green, blue from 0 to 255.

    Chromium reads YUV 4:2:0 in the limited range of ITU-R BT.601.
    """
    red, green, blue = (part / 255 for part in colour)
    luma = round(16 + 65.481 * red + 128.553 * green + 24.966 * blue)
    blue_difference = round(128 - 37.797 * red - 74.203 * green + 112.0 * blue)
    red_difference = round(128 + 112.0 * red - 93.786 * green - 18.214 * blue)
    quarter = WIDTH * HEIGHT // 4
    frame = (
        bytes([luma]) * (WIDTH * HEIGHT)
        + bytes([blue_difference]) * quarter
        + bytes([red_difference]) * quarter
    )
    header = f"YUV4MPEG2 W{WIDTH} H{HEIGHT} F10:1 Ip A1:1 C420mpeg2\n".encode()
    path.write_bytes(header + (b"FRAME\n" + frame) * FRAMES)
