"""`tallytare suggest FOLDER` on thousands of photos: rate, memory, and what decoding alone does."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from classifier.inference.photo import decode_photo
from tests.benchmarks.measure import Figure, resident_mb, say
from tests.benchmarks.scenes import TWELVE_MEGAPIXELS, photograph

_COMMAND = [sys.executable, "-c", "from service.cli.main import main; main()", "suggest"]
_DIFFERENT = 40  # the others are copies: only the files' number and content's kind matter


def bulk(bundles: Sequence[Path], *, small: int, large: int) -> list[Figure]:
    """Measure folders of 512 px and of 12 megapixels, with each bundle."""
    figures = []
    with tempfile.TemporaryDirectory() as folder:
        few, many = Path(folder) / "512", Path(folder) / "12"
        _fill(few, small, (512, 384))
        _fill(many, large, TWELVE_MEGAPIXELS)
        alone = _decoding_alone(many)
        figures.append(
            Figure(
                "decoding alone, scaled as for the network, on two threads",
                f"{_decoding_alone(few):.0f} a second of 512 px, {alone:.0f} of 12 megapixels",
            )
        )
        for bundle in bundles:
            rate, low, high, core_s = _rate(few, bundle)
            figures.append(
                Figure(
                    f"{small} photos of 512 px, {bundle.name}",
                    f"{rate:.0f} a second ({1000 * core_s:.1f} ms of one core each, so "
                    f"{2 / core_s:.0f} on two idle cores); resident {low:.0f} MB a quarter in, "
                    f"{high:.0f} MB at most after",
                    "150 a second, memory flat",
                    rate >= 150 and high < 1.15 * low,
                )
            )
            rate, _, _, core_s = _rate(many, bundle)
            figures.append(
                Figure(
                    f"{large} photos of 12 megapixels, {bundle.name}",
                    f"{rate:.1f} a second ({1000 * core_s:.1f} ms of one core each) = "
                    f"{rate / alone:.0%} of what decoding alone reaches",
                    "90 %",
                    rate >= 0.9 * alone,
                )
            )
    return figures


def _fill(folder: Path, number: int, size: tuple[int, int]) -> None:
    say(f"bulk: writing {number} photos of {size[0]} px")
    folder.mkdir()
    photos = [photograph(n, size) for n in range(min(number, _DIFFERENT if size[0] < 999 else 6))]
    for n in range(number):
        (folder / f"p{n:05d}.jpg").write_bytes(photos[n % len(photos)])


def _rate(folder: Path, bundle: Path) -> tuple[float, float, float, float]:
    """Return photos a second with start and loading, resident MB early and at most, core seconds.

    The last are a photo's share of all processor time, which others on the machine change little.
    """
    say(f"bulk: {folder.name} {bundle.name}")
    out = folder.with_suffix(".jsonl")
    out.unlink(missing_ok=True)
    total = len(list(folder.iterdir()))
    arguments = [str(folder), "--bundle", str(bundle), "--output", str(out)]
    began, before = time.perf_counter(), _children_s()
    process = subprocess.Popen(
        [*_COMMAND, *arguments], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    early, most = 0.0, 0.0
    size = 0
    while process.poll() is None:
        size = out.stat().st_size if out.exists() else 0
        memory = resident_mb(process.pid)
        done = size / 4900  # bytes a line, near enough to tell a quarter
        if done > total / 4:
            early = early or memory
            most = max(most, memory)
        time.sleep(0.2)
    seconds = time.perf_counter() - began
    lines = sum(1 for _ in out.open())
    if lines != total:
        raise RuntimeError(f"{lines} of {total} photos were answered")
    return total / seconds, early or most, most, (_children_s() - before) / total


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _decoding_alone(folder: Path) -> float:
    """Return photos a second that two threads decode, scaled as for the network, and drop."""
    files = sorted(folder.iterdir())
    with ThreadPoolExecutor(2) as pool:
        began = time.perf_counter()
        for _ in pool.map(lambda path: decode_photo(path.read_bytes()).width, files):
            pass
        return len(files) / (time.perf_counter() - began)
