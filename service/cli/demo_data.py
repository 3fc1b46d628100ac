"""The demo sort: pictures, what a person answers to each, and what the scales show.

The pictures are our own renderings; persons, place and weights are invented.
"""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable

from classifier.errors import TallytareError

PACKAGE = "tallytare_demo"
ANSWERS, WEIGHINGS = "sort_answers.csv", "sort_weighings.csv"


class DemoMissingError(TallytareError):
    """The demo pictures are not part of this installation."""

    code = "demo_missing"


@dataclass(frozen=True, slots=True)
class Answer:
    """What the sorter says of one picture; no category where the picture shows no item.

    `first_tap` is a category tapped by mistake and corrected at once.
    """

    file: str
    category: str
    count: int
    facts: Mapping[str, str]
    first_tap: str
    note: str


@dataclass(frozen=True, slots=True)
class Reading:
    """What a scale shows for the pile of one category, as typed."""

    category: str
    method: str
    gross: str
    tare: str
    unit: str
    resolution: str
    tare_resolution: str
    capacity: str
    contents_left: bool
    note: str


@dataclass(frozen=True, slots=True)
class Demo:
    """Everything the demo sort is made of; `edition` changes whenever any of it does."""

    pictures: Mapping[str, bytes]
    answers: tuple[Answer, ...]
    readings: tuple[Reading, ...]
    edition: str


def load_demo() -> Demo:
    """Return the demo; raises DemoMissingError where its pictures aren't installed."""
    try:
        folder = files(PACKAGE)
        answers = [_answer(row) for row in _rows(folder, ANSWERS)]
        readings = [_reading(row) for row in _rows(folder, WEIGHINGS)]
    except (ModuleNotFoundError, FileNotFoundError) as error:
        raise DemoMissingError(
            "the demo pictures aren't installed; allowed: an installation with the package "
            f"{PACKAGE}; install tallytare again"
        ) from error
    shown = [answer for answer in answers if folder.joinpath(answer.file).is_file()]
    pictures = {answer.file: folder.joinpath(answer.file).read_bytes() for answer in shown}
    digest = hashlib.sha256(repr((shown, readings)).encode())
    for data in pictures.values():
        digest.update(hashlib.sha256(data).digest())
    return Demo(pictures, tuple(shown), tuple(readings), digest.hexdigest()[:16])


def _rows(folder: Traversable, name: str) -> list[dict[str, str]]:
    text = folder.joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def _answer(row: Mapping[str, str]) -> Answer:
    facts = dict(pair.split("=") for pair in row["facts"].split(";") if pair)
    count = int(row["count"] or 0)
    return Answer(row["file"], row["category"], count, facts, row["first_tap"], row["note"])


def _reading(row: Mapping[str, str]) -> Reading:
    values = {key: value for key, value in row.items() if key != "contents_left"}
    return Reading(contents_left=row["contents_left"] == "yes", **values)
