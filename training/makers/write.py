"""Writes a labelled set of made pictures, by several processes at once."""

from __future__ import annotations

import csv
import multiprocessing
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from classifier.errors import DataFileError
from classifier.rules.suggestion_parts import NON_ITEM
from training.makers.compose import Place, draw_place
from training.makers.dice import Dice
from training.makers.registry import Maker, groups, makers
from training.makers.scans import scan_maker
from training.pictures.notes import tell

COLUMNS = ("path", "source", "form", "group", "split")
JUDGED = ("batteries", "lamps", "aerosols", "broken", "empty")  # groups with held-out pictures
SCANS = "scans"  # group of the scanned objects, which are there where their folder is
_SCANS_WEIGHT = 8.0
_HELD_EVERY = 10
_SHARED = 4  # pictures that are taken on one floor under one light
_QUALITY = 85


@dataclass(frozen=True, slots=True)
class Order:
    """What to write: `count` pictures of `size` px from number `first` on.

    `only` names groups, empty for all. A tenth of the pictures of `JUDGED` groups is held out
    (split `test`): other seeds, floors, lights and ranges of shapes; `held` holds out all.
    """

    out: Path
    count: int
    size: int = 320
    first: int = 0
    only: tuple[str, ...] = ()
    held: bool = False
    lights: Path | None = None
    scans: Path | None = None


def write_set(order: Order, jobs: int = 1) -> int:
    """Write pictures and `manifest.csv`; return how many.

    Raises
    ------
    DataFileError
        A number out of range, or a group that there is not.
    """
    _check(order, jobs)
    order.out.mkdir(parents=True, exist_ok=True)
    starts = range(order.first, order.first + order.count, _SHARED)
    tasks = [(order, start) for start in starts]
    done = 0
    with (order.out / "manifest.csv").open("w", newline="", encoding="utf-8") as stream:
        table = csv.DictWriter(stream, COLUMNS)
        table.writeheader()
        for rows in _results(tasks, jobs):
            table.writerows(rows)
            done += len(rows)
    return done


def _check(order: Order, jobs: int) -> None:
    if order.count < 1 or not 64 <= order.size <= 1024 or jobs < 1 or order.first < 0:
        raise DataFileError(
            "count and jobs must be at least 1, size 64 to 1024 px, the first number 0 or more"
        )
    known = [*groups(), SCANS]
    if unknown := sorted(set(order.only) - set(known)):
        raise DataFileError(f"no group {', '.join(unknown)}; there are {', '.join(known)}")
    if order.only == (SCANS,) and (order.scans is None or not order.scans.is_dir()):
        raise DataFileError(f"no scanned objects in {order.scans}")


def _results(tasks: Sequence[tuple[Order, int]], jobs: int) -> Iterator[list[dict[str, str]]]:
    if jobs == 1:
        yield from map(_write_some, tasks)
        return
    os.environ.setdefault("LP_NUM_THREADS", "1")  # Mesa's software driver: one thread a process
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        yield from pool.imap(_write_some, tasks)


def _write_some(task: tuple[Order, int]) -> list[dict[str, str]]:
    """Write the pictures that share one place; what fails is named and left out."""
    order, start = task
    places: dict[bool, Place] = {}
    rows = []
    for number in range(start, min(start + _SHARED, order.first + order.count)):
        maker = drawn_maker(number, order)
        held = order.held or (maker.group in JUDGED and number % _HELD_EVERY == _HELD_EVERY - 1)
        try:
            if held not in places:
                places[held] = draw_place(Dice([start, 1], held=held), order.lights)
            picture = maker.picture(Dice([number, 2], held=held), places[held], order.size)
        except (ValueError, ArithmeticError, LookupError) as error:  # one in thousands of draws
            tell(f"{maker.name} {number} left out: {error}\n")
            continue
        name = f"{maker.name}_{number:06d}{'_held' if held else ''}.jpg"
        Image.fromarray(picture.pixels).save(order.out / name, quality=_QUALITY)
        form = picture.forms[0] if picture.forms else NON_ITEM
        split = "test" if held else "train"
        values = (name, f"made_{maker.group}", form, f"made/{number}", split)
        rows.append(dict(zip(COLUMNS, values, strict=True)))
    return rows


def drawn_maker(number: int, order: Order) -> Maker:
    """Return the maker of a picture's number, drawn by weight."""
    choice = list(makers().values())
    if order.scans is not None and order.scans.is_dir():
        choice.append(Maker("scan", SCANS, _SCANS_WEIGHT, scan_maker(order.scans)))
    choice = [m for m in choice if not order.only or m.group in order.only]
    return Dice([number, 0]).pick(choice, [m.weight for m in choice])
