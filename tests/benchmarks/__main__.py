"""`python -m tests.benchmarks`: all figures of speed in one table, or the parts that are named."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path

from classifier.inference.bundle import FAST_BUNDLE, find_bundle
from tests.benchmarks.bulk import bulk
from tests.benchmarks.measure import Figure, machine, say, table
from tests.benchmarks.photo_path import photo_path, two_at_once
from tests.benchmarks.server import hundred_phones, start_and_memory
from tests.benchmarks.store import store_sizes


def main() -> int:
    """Measure and write the table; 1 if a goal is missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("parts", nargs="*", help="photo two start bulk store phones; else all")
    parser.add_argument("--bundle", default="", help="bundle to measure; else the default")
    parser.add_argument("--photos", type=int, default=10_000, help="photos of 512 px, for bulk")
    parser.add_argument("--large", type=int, default=100, help="photos of 12 megapixels, for bulk")
    parser.add_argument(
        "--items", type=int, nargs="+", default=[10_000, 100_000, 1_000_000], help="for the store"
    )
    parser.add_argument("--out", type=Path, help="file to write the table to, too")
    given = parser.parse_args()
    bundle = find_bundle(given.bundle or None).resolve()
    fast = find_bundle(FAST_BUNDLE).resolve()
    parts: dict[str, Callable[[], list[Figure]]] = {
        "photo": lambda: photo_path(bundle),
        "two": lambda: two_at_once(bundle),
        "start": lambda: start_and_memory(bundle),
        "bulk": lambda: bulk([bundle, fast], small=given.photos, large=given.large),
        "store": lambda: store_sizes(given.items),
        "phones": lambda: hundred_phones(bundle),
    }
    if unknown := set(given.parts) - set(parts):
        parser.error(f"no part is called {', '.join(unknown)}; there are {', '.join(parts)}")
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    text = f"{machine()}\n\n"
    figures: list[Figure] = []
    for name in given.parts or parts:
        figures += parts[name]()
        say(f"{name} is done; load average {os.getloadavg()[0]:.1f}")
        if given.out is not None:  # after each part: a later one may fail
            given.out.write_text(f"{text}{table(figures)}\n", encoding="utf-8")
    sys.stdout.write(f"{text}{table(figures)}\n")
    return int(any(figure.held is False for figure in figures))


if __name__ == "__main__":
    sys.exit(main())
