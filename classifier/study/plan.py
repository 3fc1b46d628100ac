"""The plan of a study: what its strata are and weigh, what it is scaled to and compared with.

A small file, TOML or JSON, or the fields of a form. Nothing of it is stored with the sorts: the
same sorts can be reported under several plans, and a report says which it used.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, get_args

from classifier.errors import InvalidEntryError
from classifier.estimators._moments import Estimator
from classifier.rules.category_parts import Categories
from classifier.rules.data_file import JsonFile, TomlFile, read_text
from classifier.rules.data_table import Document, Table
from classifier.rules.programme_rules import ROUTES

OWN_PARTS = ("place", "date", "month", "year")
"""What a sort can be grouped by besides the parts of its stratum."""
SEPARATOR = "/"
ESTIMATOR: Estimator = "mean of sample shares"


@dataclass(frozen=True, slots=True)
class Population:
    """What the shares are scaled to: a total with its standard error, such as tonnes a year."""

    total: float
    standard_error: float
    unit: str


@dataclass(frozen=True, slots=True)
class Streams:
    """Which sorts are of the recycling and which of the refuse container of the same households.

    `part` is the part of the stratum that says so; a household's two sorts agree in all of `pair`.
    """

    part: str
    recycling: tuple[str, ...]
    refuse: tuple[str, ...]
    pair: tuple[str, ...]
    accepted_routes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StudyPlan:
    """How a study is worked out.

    `parts` names the parts of a sort's stratum, separated by "/" there; `strata` are those that
    split the study, `compare` the one whose values are set against each other. `weights` gives the
    size of each stratum by its label, `person_weights` its persons. `what_if` names categories that
    the programme does not take and might.
    """

    title: str = ""
    level: float = 0.90
    estimator: Estimator = ESTIMATOR
    parts: tuple[str, ...] = ("stratum",)
    strata: tuple[str, ...] = ("stratum",)
    weights: Mapping[str, float] = field(default_factory=dict)
    person_weights: Mapping[str, float] = field(default_factory=dict)
    population: Population | None = None
    compare: str = ""
    what_if: tuple[str, ...] = ()
    streams: Streams | None = None
    national: str = ""
    unweighed: str = "keep"
    audit_points: float = 0.0
    draws: int = 2000
    divisions: int = 9999
    seed: int = 0


NATIONAL = ("", "generated", "landfilled")
UNWEIGHED = ("keep", "leave_out")
_KEYS = frozenset(StudyPlan.__dataclass_fields__)


def load_plan(path: Path, categories: Categories) -> StudyPlan:
    """Read a plan from a file ending in .toml or .json.

    Raises
    ------
    InvalidEntryError
        If it can't be read or says something that is not allowed: names file, key and fix.
    """
    text = read_text(path, InvalidEntryError)
    return plan_from_text(text, categories, name=path.name, is_json=path.suffix == ".json")


def plan_from_text(
    text: str, categories: Categories, *, name: str = "plan", is_json: bool = False
) -> StudyPlan:
    """Read a plan from TOML, or from JSON.

    Raises
    ------
    InvalidEntryError
        As `load_plan` does.
    """
    kind = JsonFile if is_json else TomlFile
    return _plan(kind(text, name, InvalidEntryError), categories)


def plan_from(given: Any, categories: Categories, *, name: str = "plan") -> StudyPlan:
    """Check a plan given as plain values.

    Raises
    ------
    InvalidEntryError
        If a key or value is not allowed.
    """
    return _plan(Document(given, name, InvalidEntryError), categories)


def _plan(file: Document, categories: Categories) -> StudyPlan:
    read = file.root
    read.only(_KEYS)
    parts = read.texts("parts", default=("stratum",))
    allowed = (*parts, *OWN_PARTS)
    known = tuple(each.id for each in categories.categories)
    streams = _streams(_inner(read, "streams"), allowed)
    # The containers of a household are one sort once they are joined, of no container.
    usual = tuple(part for part in parts if streams is None or part != streams.part)
    estimator: Any = read.one_of("estimator", get_args(Estimator), "estimator", ESTIMATOR)
    plan = StudyPlan(
        title=read.text("title", needed=False),
        level=read.number("level", 0.5, 0.999, default=0.90),
        estimator=estimator,
        parts=parts,
        strata=read.some_of("strata", allowed, "part", usual),
        weights=_sizes(read.table("weights")),
        person_weights=_sizes(read.table("person_weights")),
        population=_population(_inner(read, "population")),
        compare=read.one_of("compare", ("", *allowed), "part", ""),
        what_if=read.some_of("what_if", known, "category"),
        streams=streams,
        national=read.one_of("national", NATIONAL, "comparison", ""),
        unweighed=read.one_of("unweighed", UNWEIGHED, "choice", "keep"),
        audit_points=read.number("audit_points", 0.0, 50.0, default=0.0),
        draws=_repeats(read, "draws", 2000, 100_000),
        divisions=_repeats(read, "divisions", 9999, 1_000_000),
        seed=read.whole("seed", 0, 2**31, default=0),
    )
    file.problems.raise_any()
    return plan


def _repeats(read: Table, name: str, default: int, most: int) -> int:
    value = read.whole(name, 0, most, default=default)
    if 0 < value < 100:
        read.refuse(name, "0 for none, or 100 and more")
    return value


def _inner(read: Table, name: str) -> Table | None:
    return read.table(name) if name in read.names() else None


def _sizes(table: Table) -> dict[str, float]:
    return {name.strip(): table.number(name, 0.0) for name in table.names()}


def _population(table: Table | None) -> Population | None:
    if table is None:
        return None
    table.only(("total", "standard_error", "unit"))
    return Population(
        total=table.number("total", 0.0, above=True),
        standard_error=table.number("standard_error", 0.0, default=0.0),
        unit=table.text("unit", needed=False) or "t",
    )


def _streams(table: Table | None, allowed: Sequence[str]) -> Streams | None:
    if table is None:
        return None
    table.only(("part", "recycling", "refuse", "pair", "accepted_routes"))
    return Streams(
        part=table.one_of("part", allowed, "part", allowed[0]),
        recycling=table.texts("recycling", default=("recycling",)),
        refuse=table.texts("refuse", default=("refuse",)),
        pair=table.some_of("pair", allowed, "part", ("place", "date")),
        accepted_routes=table.some_of("accepted_routes", ROUTES, "route", ("kerbside",)),
    )


def texts_of(stratum: str, parts: Sequence[str]) -> list[str]:
    """Return what a stratum says of each part; with one part that is the whole stratum."""
    pieces = stratum.split(SEPARATOR) if len(parts) > 1 else [stratum]
    return [piece.strip() for piece in pieces]


def part_of(name: str, parts: Sequence[str], *, stratum: str, place: str, sorted_on: date) -> str:
    """Return what a sort has under a part of its stratum, or under one of `OWN_PARTS`."""
    if name in parts:
        texts = texts_of(stratum, parts)
        at = list(parts).index(name)
        return (texts[at] if at < len(texts) else "") or "not given"
    own = {
        "place": place or "not given",
        "date": sorted_on.isoformat(),
        "month": sorted_on.isoformat()[:7],
        "year": sorted_on.isoformat()[:4],
    }
    return own[name]
