"""Categories, groups and totals of a report, and what was not weighed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from classifier.log.ledger import CategoryTotal, Ledger
from classifier.log.piles import BatchTotal
from classifier.log.quantities import ZERO_MASS, Mass, sum_masses
from classifier.report.item_weights import own_item_weight
from classifier.report.lines import (
    BelowLine,
    CategoryLine,
    EstimatedLine,
    GroupLine,
    TotalLine,
    UnweighedLine,
    WeighedHow,
)
from classifier.report.routes import route_parts
from classifier.report.shares import ShareRange, count_share, range_of, share_of, subtract
from classifier.rules.category_parts import Categories, Category
from classifier.rules.programme import Programme

UNLISTED_GROUP = "unlisted"
"""Group of categories that an older log holds and this list of categories no longer has."""


@dataclass(frozen=True, slots=True)
class Names:
    """Names and order of categories and groups, with a stand-in for ids no longer listed."""

    categories: Categories

    def category(self, category_id: str) -> str:
        """Return the name of a category, its id if it is not listed."""
        found = self._find(category_id)
        return found.name if found else category_id

    def group_of(self, category_id: str) -> str:
        """Return the group of a category."""
        found = self._find(category_id)
        return found.group if found else UNLISTED_GROUP

    def _find(self, category_id: str) -> Category | None:
        for category in self.categories.categories:
            if category.id == category_id:
                return category
        return None

    def groups(self) -> tuple[tuple[str, str], ...]:
        """Return ids and names of all groups in the order of the list."""
        listed = tuple((group.id, group.name) for group in self.categories.groups)
        return (*listed, (UNLISTED_GROUP, "Not in this list of categories"))

    def place(self, category_id: str) -> tuple[int, str]:
        """Return what categories are sorted by: the order of the list, unlisted ones last."""
        listed = self.categories.categories
        order = (n for n, category in enumerate(listed) if category.id == category_id)
        return next(order, len(listed)), category_id

    def ordered(self, totals: Iterable[CategoryTotal]) -> list[CategoryTotal]:
        """Return category totals in the order of the list, unlisted ones last."""
        return sorted(totals, key=lambda total: self.place(total.category))


def category_lines(ledger: Ledger, names: Names, programme: Programme) -> tuple[CategoryLine, ...]:
    """Return one line for each category that has an item or a pile."""
    totals = names.ordered(ledger.categories)
    whole = _Whole(measured_total(ledger.batches), weighed_range(ledger.batches))
    objects = sum(total.count for total in totals)
    return tuple(_category_line(total, whole, objects, names, programme) for total in totals)


def measured_total(piles: Iterable[BatchTotal]) -> Mass:
    """Return the sum of the measured piles."""
    return sum_masses(tuple(pile.mass for pile in piles if pile.mass is not None))


def weighed_range(piles: Iterable[BatchTotal]) -> Mass:
    """Return the bounds of all weighed piles; one too light for its scale adds 0 to one step."""
    weighed = [pile for pile in piles if pile.state != "not_weighed"]
    light_g = sum((pile.below_g for pile in weighed if pile.below_g is not None), Decimal(0))
    mass = measured_total(weighed)
    return Mass(mass.value_g, mass.low_g, mass.high_g + light_g)


@dataclass(frozen=True, slots=True)
class _Whole:
    """All of a sort: what was measured, and that with the piles too light to measure."""

    mass: Mass
    weighed: Mass

    def range_of(self, piles: Iterable[BatchTotal]) -> ShareRange | None:
        own = [pile for pile in piles if pile.state != "not_weighed"]
        part = weighed_range(own)
        return range_of(part, subtract(self.weighed, part)) if own else None


def unweighed(total: CategoryTotal) -> tuple[int, int]:
    """Return objects known not to be weighed, and objects of which nobody can say.

    Loose objects are unweighed where the category has no pile. Where it has several, all weighed,
    they are taken to be in those. Where some of the piles are not weighed, nobody can say.
    """
    loose = sum(item.count for item in total.loose)
    open_piles = [pile for pile in total.batches if pile.state == "not_weighed"]
    in_open_piles = sum(pile.count for pile in open_piles)
    if not total.batches:
        return loose, 0
    return in_open_piles, loose if open_piles else 0


def _category_line(
    total: CategoryTotal, whole: _Whole, objects: int, names: Names, programme: Programme
) -> CategoryLine:
    measured = any(pile.mass is not None for pile in total.batches)
    mass = measured_total(total.batches) if measured else None
    below = [pile.below_g for pile in total.batches if pile.below_g is not None]
    known, unplaced = unweighed(total)
    own = own_item_weight(total.batches)
    return CategoryLine(
        category=total.category,
        name=names.category(total.category),
        group=names.group_of(total.category),
        items=len(total.items),
        count=total.count,
        batches=len(total.batches),
        weighed=_weighed(total, measured=measured, below=bool(below)),
        mass=mass,
        below_g=sum(below, Decimal(0)) if below else None,
        unweighed_count=known,
        unplaced_count=unplaced,
        share_weight=share_of(mass, subtract(whole.mass, mass)) if mass else None,
        share_range=whole.range_of(total.batches),
        share_count=count_share(total.count, objects),
        mean_item_g=own.item_g if own else None,
        routes=route_parts(total.category, total.items, programme),
    )


def _weighed(total: CategoryTotal, *, measured: bool, below: bool) -> WeighedHow:
    """Name the state of a whole category."""
    open_piles = any(pile.state == "not_weighed" for pile in total.batches)
    if not (measured or below):
        return "not_weighed"
    if open_piles or (measured and below):
        return "partly"
    return "measured" if measured else "below_resolution"


def group_lines(
    ledger: Ledger, lines: Sequence[CategoryLine], names: Names
) -> tuple[GroupLine, ...]:
    """Return subtotals of the groups that occur."""
    objects = sum(line.count for line in lines)
    whole = _Whole(measured_total(ledger.batches), weighed_range(ledger.batches))
    found = []
    for group, name in names.groups():
        own = [line for line in lines if line.group == group]
        if not own:
            continue
        masses = tuple(line.mass for line in own if line.mass is not None)
        mass = sum_masses(masses) if masses else None
        count = sum(line.count for line in own)
        listed = {line.category for line in own}
        piles = [pile for pile in ledger.batches if pile.batch.category in listed]
        found.append(
            GroupLine(
                group=group,
                name=name,
                items=sum(line.items for line in own),
                count=count,
                mass=mass,
                share_weight=share_of(mass, subtract(whole.mass, mass)) if mass else None,
                share_range=whole.range_of(piles),
                share_count=count_share(count, objects),
            )
        )
    return tuple(found)


def total_line(
    ledger: Ledger, lines: Sequence[CategoryLine], estimates: Sequence[EstimatedLine]
) -> TotalLine:
    """Return the totals, with measured, below resolution and estimated side by side."""
    return TotalLine(
        items=len(ledger.items),
        count=sum(line.count for line in lines),
        batches=len(ledger.batches),
        weighings=sum(len(pile.weighings) for pile in ledger.batches),
        mass=sum_masses(tuple(line.mass or ZERO_MASS for line in lines)),
        below_g=sum((line.below_g or Decimal(0) for line in lines), Decimal(0)),
        estimated_g=sum((e.grams.value for e in estimates), Decimal(0)) if estimates else None,
        unweighed_count=sum(line.unweighed_count + line.unplaced_count for line in lines),
    )


def below_lines(ledger: Ledger, names: Names) -> tuple[BelowLine, ...]:
    """Return the piles that were too light for their scale."""
    return tuple(
        BelowLine(
            category=total.category,
            name=names.category(total.category),
            label=pile.batch.label,
            count=pile.count,
            below_g=pile.below_g,
        )
        for total in names.ordered(ledger.categories)
        for pile in total.batches
        if pile.below_g is not None
    )


def unweighed_lines(lines: Iterable[CategoryLine]) -> tuple[UnweighedLine, ...]:
    """Return the objects without a measured weight, each with its reason."""
    found = []
    for line in lines:
        if line.unweighed_count:
            reason = "in a pile that was not weighed" if line.batches else "in no pile"
            found.append(UnweighedLine(line.category, line.name, line.unweighed_count, reason))
        if line.unplaced_count:
            reason = "in no named pile, while some piles of the category were not weighed"
            found.append(UnweighedLine(line.category, line.name, line.unplaced_count, reason))
    return tuple(found)
