"""Weight of one object, where a pile was counted and not weighed.

Two sources, never mixed with measured totals. The sort's own mean item weight is the ratio of sums
over its piles that have both a weight and a count (sum of grams / sum of objects, the ratio
estimator of Cochran, Sampling Techniques, 3rd ed. 1977, section 2.11); it fits these very discards.
Only where there is none, a published prior stands in, labelled with date and confidence code.

The value is worked out here in plain decimals; the error between piles, of one sort or of many,
comes from `classifier.estimators.conversion` through `classifier.report.conversions`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from classifier.log.piles import BatchTotal
from classifier.log.quantities import Unit
from classifier.rules.data_file import read_toml
from classifier.rules.data_table import Table

SHIPPED_ITEM_WEIGHTS = Path(__file__).with_name("data") / "item_weights.toml"
CODES = ("A", "B", "C", "D", "OWN")


@dataclass(frozen=True, slots=True)
class PriorWeight:
    """A published number of empty containers per pound, with where it is from.

    `code` is the confidence code: A seen and recomputed, B seen in a stored copy, C from memory and
    passing an arithmetic check, D from memory, OWN our own arithmetic.
    """

    category: str
    material: str
    containers_per_lb: Decimal
    date: str
    source: str
    code: str

    @property
    def item_g(self) -> Decimal:
        """Grams of one container: 453.59237 g in a pound / containers in a pound."""
        return Unit.LB.grams / self.containers_per_lb


@dataclass(frozen=True, slots=True)
class PriorWeights:
    """The table of priors; the first of a category is used, the others show the spread."""

    version: str
    caution: str
    weights: tuple[PriorWeight, ...]

    def of(self, category: str) -> tuple[PriorWeight, ...]:
        """Return the priors of a category, none if there is no published one."""
        return tuple(weight for weight in self.weights if weight.category == category)


@dataclass(frozen=True, slots=True)
class OwnWeight:
    """Mean grams of one object from `piles` piles of this sort that hold `count` objects."""

    item_g: Decimal
    piles: int
    count: int


def load_prior_weights(path: Path = SHIPPED_ITEM_WEIGHTS) -> PriorWeights:
    """Read the table of prior item weights.

    Raises
    ------
    DataFileError
        If the file can't be read or holds a mistake: names file, line and fix.
    """
    file = read_toml(path)
    root = file.root
    root.only(("version", "caution", "weight"))
    table = PriorWeights(
        version=root.text("version"),
        caution=root.text("caution"),
        weights=tuple(_prior(entry) for entry in root.tables("weight")),
    )
    file.problems.raise_any()
    return table


def _prior(entry: Table) -> PriorWeight:
    entry.only(("category", "material", "containers_per_lb", "date", "source", "code"))
    return PriorWeight(
        category=entry.identifier("category"),
        material=entry.text("material"),
        containers_per_lb=entry.positive("containers_per_lb"),
        date=entry.text("date"),
        source=entry.text("source"),
        code=entry.one_of("code", CODES, "confidence code"),
    )


@dataclass(frozen=True, slots=True)
class CountedMass:
    """A batch that was weighed and counted, both of the same objects."""

    batch_id: str
    sort_id: str
    category: str
    grams: Decimal
    count: int

    @property
    def item_g(self) -> Decimal:
        """Mean grams of one object."""
        return self.grams / self.count


def counted_masses(piles: Iterable[BatchTotal]) -> tuple[CountedMass, ...]:
    """Return the piles that show a mean item weight.

    Left out are piles with contents left in (they weigh more than the empty objects) and piles that
    grew after their weighing (weight and count are of different sets of objects). A pile whose
    objects were all recorded after its weighing was weighed first and counted later, and is used.
    """
    return tuple(
        CountedMass(
            pile.batch.id, pile.batch.sort_id, pile.batch.category, pile.mass.value_g, pile.count
        )
        for pile in piles
        if pile.mass is not None
        and pile.count
        and not pile.contents_left
        and pile.count_after in (0, pile.count)
    )


def own_item_weight(piles: Iterable[BatchTotal]) -> OwnWeight | None:
    """Return the sort's own mean item weight over the piles that show one, else `None`."""
    usable = counted_masses(piles)
    if not usable:
        return None
    count = sum(pile.count for pile in usable)
    return OwnWeight(sum((pile.grams for pile in usable), Decimal(0)) / count, len(usable), count)
