"""Command line: `python -m training.makers --out FOLDER --count N`."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from classifier.errors import DataFileError
from training.makers.registry import groups
from training.makers.write import Order, write_set

_SCANS = Path("../shared/scans")


def main(arguments: Sequence[str] | None = None) -> int:
    """Write a set and say how many pictures it has; 2 for what can't be done."""
    parser = argparse.ArgumentParser(prog="training.makers", description=main.__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder of pictures and manifest")
    parser.add_argument("--count", type=int, required=True, help="pictures in all")
    parser.add_argument("--size", type=int, default=320, help="side, px")
    parser.add_argument("--first", type=int, default=0, help="number of the first picture")
    parser.add_argument("--only", default="", help=f"groups, by commas: {', '.join(groups())}")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument(
        "--lights", type=Path, default=_SCANS / "light", help="folder of environment maps"
    )
    parser.add_argument("--scans", type=Path, default=_SCANS, help="folder of scanned objects")
    parser.add_argument("--held-out", action="store_true", help="held-out pictures alone")
    given = parser.parse_args(arguments)
    only = tuple(name for name in given.only.split(",") if name)
    order = Order(
        given.out,
        given.count,
        given.size,
        given.first,
        only,
        given.held_out,
        given.lights,
        given.scans,
    )
    try:
        done = write_set(order, given.jobs)
    except DataFileError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sys.stdout.write(f"{done} pictures in {given.out}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
