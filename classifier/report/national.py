"""A sort beside the national figures of US EPA for 2018, and what the two may not be used for.

Generation and landfilled are kept apart throughout: each row shows both shares and they are never
combined. The mapping from our categories to EPA's materials is data with its reasons beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from classifier.log.quantities import Mass, sum_masses
from classifier.report.item_weights import CODES
from classifier.report.shares import Range, share_of, subtract
from classifier.rules.data_file import TomlFile, read_toml
from classifier.rules.data_table import Table

SHIPPED_NATIONAL = Path(__file__).with_name("data") / "us_epa_2018.toml"
_FATES = ("recycled", "composted", "other_food", "combusted", "landfilled")
_TOP = (
    "id", "title", "publisher", "published", "data_year", "address", "tables", "ledger_code",
    "population_million", "population_code", "warnings", "headline", "total", "material",
    "no_counterpart",
)  # fmt: skip
_HEADLINE = (
    "code", "generated", "generated_lb_per_person_day", "recycled_and_composted_percent",
    "recycled_percent", "combusted_percent", "landfilled", "landfilled_percent",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Flow:
    """One row of the ledger in million short tons: what was generated and where it went."""

    name: str
    generated: Decimal
    recycled: Decimal
    composted: Decimal
    other_food: Decimal
    combusted: Decimal
    landfilled: Decimal


@dataclass(frozen=True, slots=True)
class Material:
    """One or more rows of the ledger that a set of our categories is compared with."""

    id: str
    name: str
    note: str
    categories: tuple[str, ...]
    rows: tuple[Flow, ...]

    @property
    def generated(self) -> Decimal:
        """Million short tons generated."""
        return sum((row.generated for row in self.rows), Decimal(0))

    @property
    def landfilled(self) -> Decimal:
        """Million short tons landfilled."""
        return sum((row.landfilled for row in self.rows), Decimal(0))


@dataclass(frozen=True, slots=True)
class National:
    """National figures with their source, confidence codes and warnings."""

    id: str
    title: str
    publisher: str
    published: str
    data_year: str
    address: str
    tables: str
    ledger_code: str
    population_million: Decimal
    population_code: str
    warnings: tuple[str, ...]
    headline_code: str
    headline: Mapping[str, Decimal]
    total: Flow
    materials: tuple[Material, ...]
    no_counterpart: tuple[str, ...]
    no_counterpart_reason: str

    @property
    def generated_lb_per_person_day(self) -> Decimal:
        """Pounds generated per person and day, as the source says in its headline."""
        return self.headline["generated_lb_per_person_day"]


@dataclass(frozen=True, slots=True)
class ComparisonLine:
    """Our measured share beside the two national ones, all fractions of their own totals.

    `mass` and `ours` are `None` where the material was found and not measured; a material that was
    not found at all has mass and share 0.
    """

    material: str
    name: str
    note: str
    mass: Mass | None
    ours: Range | None
    generated_share: Decimal
    landfilled_share: Decimal


@dataclass(frozen=True, slots=True)
class NotCompared:
    """What was found and has no counterpart in the national table."""

    mass: Mass
    share: Range | None
    categories: tuple[str, ...]
    reason: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """The comparison of one sort with the national figures."""

    national: National
    lines: tuple[ComparisonLine, ...]
    not_compared: NotCompared


def load_national(path: Path = SHIPPED_NATIONAL) -> National:
    """Read a file of national figures.

    Raises
    ------
    DataFileError
        If the file can't be read or holds a mistake: names file, line and fix.
    """
    file = read_toml(path)
    national = _national(file)
    file.problems.raise_any()
    return national


def _national(file: TomlFile) -> National:
    root = file.root
    root.only(_TOP)
    headline, apart = root.table("headline"), root.table("no_counterpart")
    headline.only(_HEADLINE)
    apart.only(("reason", "categories"))
    return National(
        id=root.identifier(),
        title=root.text("title"),
        publisher=root.text("publisher"),
        published=root.text("published"),
        data_year=root.text("data_year"),
        address=root.text("address"),
        tables=root.text("tables"),
        ledger_code=root.one_of("ledger_code", CODES, "confidence code"),
        population_million=root.positive("population_million"),
        population_code=root.one_of("population_code", CODES, "confidence code"),
        warnings=root.texts("warnings"),
        headline_code=headline.one_of("code", CODES, "confidence code"),
        headline={name: headline.positive(name) for name in _HEADLINE[1:]},
        total=_flow(root.table("total"), name="Total"),
        materials=tuple(_material(entry) for entry in root.tables("material")),
        no_counterpart=apart.texts("categories"),
        no_counterpart_reason=apart.text("reason"),
    )


def _material(entry: Table) -> Material:
    entry.only(("id", "name", "note", "categories", "rows"))
    return Material(
        id=entry.identifier(),
        name=entry.text("name"),
        note=entry.text("note", needed=False),
        categories=entry.texts("categories"),
        rows=tuple(_flow(row, name=row.text("name")) for row in entry.tables("rows")),
    )


def _flow(row: Table, *, name: str) -> Flow:
    row.only(("name", "generated", *_FATES))
    fates = {fate: row.amount(fate) for fate in _FATES}
    return Flow(name=name, generated=row.positive("generated"), **fates)


def compare(national: National, masses: Mapping[str, Mass | None]) -> Comparison:
    """Set the measured masses by category beside the national shares.

    `masses` holds every category that was found, `None` for one without a measured weight.
    Materials that none of our categories stands for have no line: a zero there would read as a
    finding. Categories that the table does not know count as having no counterpart.
    """
    measured = {category: mass for category, mass in masses.items() if mass is not None}
    total = sum_masses(tuple(measured.values()))
    matched = {category for material in national.materials for category in material.categories}
    apart = sum_masses(tuple(mass for name, mass in measured.items() if name not in matched))
    return Comparison(
        national=national,
        lines=tuple(
            _line(national, material, masses, total)
            for material in national.materials
            if material.categories
        ),
        not_compared=NotCompared(
            mass=apart,
            share=share_of(apart, subtract(total, apart)),
            categories=tuple(name for name in masses if name not in matched),
            reason=national.no_counterpart_reason,
        ),
    )


def _line(
    national: National, material: Material, masses: Mapping[str, Mass | None], total: Mass
) -> ComparisonLine:
    found = [masses[category] for category in material.categories if category in masses]
    measured = tuple(mass for mass in found if mass is not None)
    mass = sum_masses(measured) if measured or not found else None
    return ComparisonLine(
        material=material.id,
        name=material.name,
        note=material.note,
        mass=mass,
        ours=share_of(mass, subtract(total, mass)) if mass is not None else None,
        generated_share=material.generated / national.total.generated,
        landfilled_share=material.landfilled / national.total.landfilled,
    )
