"""Pictures without an item: pieces of desktop wallpapers that Debian packages carry.

`python -m training.pictures.wallpapers UNPACKED --out DIR` reads the folder where the packages that
`training/data/wallpapers.csv` names are unpacked (`apt-get download PACKAGE`, `dpkg-deb -x FILE
UNPACKED`), and writes pieces and a manifest. The list leaves out what shows an item, food or
plants from near. All pieces of one wallpaper lie in one split.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import random
import sys
from collections.abc import Iterator, Sequence
from importlib.resources import files
from pathlib import Path

from PIL import Image

from classifier.rules.suggestion_parts import NON_ITEM

PIECES = 4  # of each wallpaper: the whole middle, then smaller squares
SIDE_PX = 300
_SPLITS = ("train",) * 5 + ("calibrate",) * 2 + ("test",) * 3


def listed() -> list[dict[str, str]]:
    """Package and file (below `usr/share`) of each wallpaper."""
    text = (files("training") / "data" / "wallpapers.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def pieces(image: Image.Image, seed: str) -> Iterator[Image.Image]:
    """Cut `PIECES` squares of `SIDE_PX`, the same ones for the same seed."""
    chance = random.Random(seed)
    short = min(image.size)
    for number in range(PIECES):
        side = round(short * (1 if number == 0 else chance.uniform(0.3, 0.9)))
        left = round(chance.uniform(0, image.width - side))
        top = round(chance.uniform(0, image.height - side))
        yield image.resize((SIDE_PX, SIDE_PX), box=(left, top, left + side, top + side))


def write_set(unpacked: Path, out: Path) -> int:
    """Write the pieces of all listed wallpapers and their manifest; returns how many there are."""
    out.mkdir(parents=True, exist_ok=True)
    rows = []
    for each in listed():
        name = hashlib.sha256(each["file"].encode()).hexdigest()[:10]
        with Image.open(unpacked / "usr" / "share" / each["file"]) as opened:
            image = opened.convert("RGB")
        for number, piece in enumerate(pieces(image, each["file"])):
            piece.save(out / f"{name}_{number}.jpg", quality=88)
            split = _SPLITS[int(name, 16) % len(_SPLITS)]
            group = f"wallpapers/{each['package']}/{name}"
            rows.append((f"{name}_{number}.jpg", "wallpapers", NON_ITEM, group, split))
    with (out / "manifest.csv").open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("path", "source", "form", "group", "split"))
        writer.writerows(rows)
    return len(rows)


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("unpacked", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args(arguments)
    sys.stdout.write(f"{write_set(given.unpacked, given.out)} pictures\n")


if __name__ == "__main__":
    main()
