"""The plan of a study: what its strata are and weigh, what it is scaled to and compared with.

A small file, TOML or JSON, or the fields of a form. Nothing of it is stored with the sorts: the
same sorts can be reported under several plans, and a report says which it used.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, get_args

from classifier.errors import InvalidEntryError
from classifier.estimators._moments import Estimator
from classifier.rules.category_parts import Categories
from classifier.rules.programme_rules import ROUTES

OWN_PARTS = ("place", "date", "month", "year")
"""What a sort can be grouped by besides the parts of its stratum."""
SEPARATOR = "/"


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
    estimator: Estimator = "mean of sample shares"
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
        If it can't be read or says something that is not allowed: names file, key and mend.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidEntryError(
            f"the plan {path.name} can't be read ({error}): give a text file in UTF-8"
        ) from error
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
    try:
        found = json.loads(text) if is_json else tomllib.loads(text)
    except ValueError as error:  # both decoders' errors are ValueErrors
        kind = "JSON" if is_json else "TOML"
        raise InvalidEntryError(f"{name} is no {kind}: {error}; mend it there") from error
    return plan_from(found, categories, name=name)


def plan_from(given: Any, categories: Categories, *, name: str = "plan") -> StudyPlan:
    """Check a plan given as plain values.

    Raises
    ------
    InvalidEntryError
        If a key or value is not allowed.
    """
    read = _Reader(given, name)
    read.only(_KEYS)
    parts = read.texts("parts", ("stratum",))
    allowed = (*parts, *OWN_PARTS)
    known = tuple(each.id for each in categories.categories)
    streams = _streams(read, allowed)
    # The containers of a household are one sort once they are joined, of no container.
    usual = tuple(part for part in parts if streams is None or part != streams.part)
    plan = StudyPlan(
        title=read.text("title"),
        level=read.number("level", 0.90, least=0.5, most=0.999),
        estimator=read.choice("estimator", get_args(Estimator), "mean of sample shares"),
        parts=parts,
        strata=read.choices("strata", allowed, usual),
        weights=read.sizes("weights"),
        person_weights=read.sizes("person_weights"),
        population=_population(read),
        compare=read.choice("compare", ("", *allowed), ""),
        what_if=read.choices("what_if", known, ()),
        streams=streams,
        national=read.choice("national", NATIONAL, ""),
        unweighed=read.choice("unweighed", UNWEIGHED, "keep"),
        audit_points=read.number("audit_points", 0.0, least=0.0, most=50.0),
        draws=int(read.number("draws", 2000, least=0, most=100_000)),
        divisions=int(read.number("divisions", 9999, least=0, most=1_000_000)),
        seed=int(read.number("seed", 0, least=0, most=2**31)),
    )
    for key, value in (("draws", plan.draws), ("divisions", plan.divisions)):
        if 0 < value < 100:
            read.refuse(key, value, "0 for none, or 100 and more")
    return plan


def _population(read: _Reader) -> Population | None:
    table = read.table("population", ("total", "standard_error", "unit"))
    if table is None:
        return None
    return Population(
        total=table.number("total", math.nan, least=0.0, above=True),
        standard_error=table.number("standard_error", 0.0, least=0.0),
        unit=table.text("unit") or "t",
    )


def _streams(read: _Reader, allowed: Sequence[str]) -> Streams | None:
    keys = ("part", "recycling", "refuse", "pair", "accepted_routes")
    table = read.table("streams", keys)
    if table is None:
        return None
    return Streams(
        part=table.choice("part", allowed, allowed[0]),
        recycling=table.texts("recycling", ("recycling",)),
        refuse=table.texts("refuse", ("refuse",)),
        pair=table.choices("pair", allowed, ("place", "date")),
        accepted_routes=table.choices("accepted_routes", tuple(ROUTES), ("kerbside",)),
    )


class _Reader:
    """Takes values out of a mapping, or says what is wrong with them."""

    def __init__(self, given: Any, name: str) -> None:
        if not isinstance(given, Mapping):
            raise InvalidEntryError(f"{name} is {given!r}; allowed: keys with values; write it so")
        self._given = given
        self._name = name

    def refuse(self, key: str, value: Any, allowed: str) -> InvalidEntryError:
        raise InvalidEntryError(
            f"{self._name}: {key} is {value!r}; allowed: {allowed}; set it so, or leave it out"
        )

    def only(self, keys: Sequence[str] | frozenset[str]) -> None:
        for key in self._given:
            if key not in keys:
                self.refuse(str(key), self._given[key], f"the keys {', '.join(sorted(keys))}")

    def text(self, key: str) -> str:
        value = self._given.get(key, "")
        if not isinstance(value, str) or len(value) > 300:
            self.refuse(key, value, "a text of 300 characters at most")
        return str(value)

    def number(
        self, key: str, default: float, *, least: float, most: float = 1e15, above: bool = False
    ) -> float:
        value = self._given.get(key, default)
        right = isinstance(value, (int, float)) and not isinstance(value, bool)
        if not right or not least <= value <= most or (above and value <= least):
            ends = f"above {least:g}" if above else f"{least:g} to {most:g}"
            self.refuse(key, value, f"a number, {ends}")
        return float(value)

    def choice(self, key: str, allowed: Sequence[str], default: str) -> Any:
        value = self._given.get(key, default)
        if value not in allowed:
            self.refuse(key, value, " or ".join(repr(each) for each in allowed))
        return value

    def texts(self, key: str, default: tuple[str, ...]) -> tuple[str, ...]:
        value = self._given.get(key, default)
        if not isinstance(value, (list, tuple)) or not all(
            isinstance(each, str) and each.strip() for each in value
        ):
            self.refuse(key, value, "a list of texts")
        return tuple(each.strip() for each in value)

    def choices(
        self, key: str, allowed: Sequence[str], default: tuple[str, ...]
    ) -> tuple[str, ...]:
        values = self.texts(key, default)
        for value in values:
            if value not in allowed:
                self.refuse(key, value, f"a list of these: {', '.join(allowed)}")
        return values

    def sizes(self, key: str) -> dict[str, float]:
        table = self._given.get(key, {})
        if not isinstance(table, Mapping):
            self.refuse(key, table, "a table of stratum = size")
        inner = _Reader(table, f"{self._name}: {key}")
        return {str(name).strip(): inner.number(name, 0.0, least=0.0) for name in table}

    def table(self, key: str, keys: Sequence[str]) -> _Reader | None:
        if key not in self._given:
            return None
        inner = _Reader(self._given[key], f"{self._name}: {key}")
        inner.only(keys)
        return inner


def texts_of(stratum: str, parts: Sequence[str]) -> list[str]:
    """Return what a stratum tells for each part; with one part that is the whole stratum."""
    pieces = stratum.split(SEPARATOR) if len(parts) > 1 else [stratum]
    return [piece.strip() for piece in pieces]


def part_of(name: str, parts: Sequence[str], *, stratum: str, place: str, sorted_on: date) -> str:
    """Return what a sort has under a part of its stratum, or under one of `OWN_PARTS`."""
    if name in parts:
        texts = texts_of(stratum, parts)
        at = list(parts).index(name)
        return (texts[at] if at < len(texts) else "") or "not told"
    own = {
        "place": place or "not told",
        "date": sorted_on.isoformat(),
        "month": sorted_on.isoformat()[:7],
        "year": sorted_on.isoformat()[:4],
    }
    return own[name]
