"""The shipped table of means and standard deviations from which a first study is planned."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from classifier.report.item_weights import CODES
from classifier.rules.data_file import read_toml
from classifier.rules.data_table import Table

SHIPPED_PLANNING_TABLE = Path(__file__).with_name("data") / "astm_d5231.toml"


@dataclass(frozen=True, slots=True)
class Component:
    """A component of waste: mean mass fraction and standard deviation between samples."""

    id: str
    name: str
    mean: Decimal
    sd: Decimal


@dataclass(frozen=True, slots=True)
class PlanningTable:
    """The components with where they are from; `code` is the confidence code, as for priors."""

    id: str
    title: str
    publisher: str
    code: str
    caution: str
    components: tuple[Component, ...]


def load_planning_table(path: Path = SHIPPED_PLANNING_TABLE) -> PlanningTable:
    """Read the planning table.

    Raises
    ------
    DataFileError
        If the file can't be read, holds a mistake, or its means add to more than 1: names file,
        line and fix.
    """
    file = read_toml(path)
    root = file.root
    root.only(("id", "title", "publisher", "code", "caution", "component"))
    components = tuple(_component(entry) for entry in root.tables("component"))
    table = PlanningTable(
        id=root.identifier(),
        title=root.text("title"),
        publisher=root.text("publisher"),
        code=root.one_of("code", CODES, "confidence code"),
        caution=root.text("caution"),
        components=components,
    )
    total = sum((each.mean for each in components), Decimal(0))
    if not 0 < total <= 1:
        root.fault(
            "component",
            f"the means add to {total}",
            "Write mass fractions that together are above 0 and at most 1",
        )
    file.problems.raise_any()
    return table


def _component(entry: Table) -> Component:
    entry.only(("id", "name", "mean", "sd"))
    return Component(
        id=entry.identifier(),
        name=entry.text("name"),
        mean=entry.positive("mean"),
        sd=entry.positive("sd"),
    )
