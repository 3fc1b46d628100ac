"""Categories, groups and totals of a report, and what was not weighed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from classifier.domain.categories import Categories, Category
from classifier.domain.item_weights import OwnWeight, PriorWeights, own_item_weight
from classifier.domain.ledger import BatchTotal, CategoryTotal, Ledger
from classifier.domain.quantities import ZERO_MASS, Mass, sum_masses
from classifier.domain.report_lines import (
    BelowLine,
    CategoryLine,
    EstimatedLine,
    GroupLine,
    TotalLine,
    UnweighedLine,
    WeighedHow,
)
from classifier.domain.shares import count_share, share_of, subtract

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

    def ordered(self, totals: Iterable[CategoryTotal]) -> list[CategoryTotal]:
        """Return category totals in the order of the list, unlisted ones last."""
        order = {category.id: n for n, category in enumerate(self.categories.categories)}
        return sorted(totals, key=lambda t: (order.get(t.category, len(order)), t.category))


def category_lines(ledger: Ledger, names: Names) -> tuple[CategoryLine, ...]:
    """Return one line for each category that has an item or a pile."""
    totals = names.ordered(ledger.categories)
    whole = measured_total(ledger.batches)
    objects = sum(total.count for total in totals)
    return tuple(_category_line(total, whole, objects, names) for total in totals)


def measured_total(piles: Iterable[BatchTotal]) -> Mass:
    """Return the sum of the measured piles."""
    return sum_masses(tuple(pile.mass for pile in piles if pile.mass is not None))


def unweighed(total: CategoryTotal) -> tuple[int, int]:
    """Return objects known not to be weighed, and objects of which that can't be told.

    Loose objects are unweighed where the category has no pile. Where it has several, all weighed,
    they are taken to be in those. Where some of the piles are not weighed, nobody can say.
    """
    loose = sum(item.count for item in total.loose)
    open_piles = [pile for pile in total.batches if pile.state == "not_weighed"]
    in_open_piles = sum(pile.count for pile in open_piles)
    if not total.batches:
        return loose, 0
    return in_open_piles, loose if open_piles else 0


def _category_line(total: CategoryTotal, whole: Mass, objects: int, names: Names) -> CategoryLine:
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
        share_weight=share_of(mass, subtract(whole, mass)) if mass else None,
        share_count=count_share(total.count, objects),
        mean_item_g=own.item_g if own else None,
    )


def _weighed(total: CategoryTotal, *, measured: bool, below: bool) -> WeighedHow:
    """Name the state of a whole category."""
    open_piles = any(pile.state == "not_weighed" for pile in total.batches)
    if not (measured or below):
        return "not_weighed"
    if open_piles or (measured and below):
        return "partly"
    return "measured" if measured else "below_resolution"


def group_lines(lines: Sequence[CategoryLine], whole: Mass, names: Names) -> tuple[GroupLine, ...]:
    """Return subtotals of the groups that occur."""
    objects = sum(line.count for line in lines)
    found = []
    for group, name in names.groups():
        own = [line for line in lines if line.group == group]
        if not own:
            continue
        masses = tuple(line.mass for line in own if line.mass is not None)
        mass = sum_masses(masses) if masses else None
        count = sum(line.count for line in own)
        found.append(
            GroupLine(
                group=group,
                name=name,
                items=sum(line.items for line in own),
                count=count,
                mass=mass,
                share_weight=share_of(mass, subtract(whole, mass)) if mass else None,
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
        estimated_g=sum((e.grams for e in estimates), Decimal(0)) if estimates else None,
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


def estimated_lines(
    ledger: Ledger, names: Names, priors: PriorWeights | None
) -> tuple[EstimatedLine, ...]:
    """Return weights for objects that were counted and not weighed, where there is a basis."""
    found = []
    for total in names.ordered(ledger.categories):
        count, _ = unweighed(total)
        if not count:
            continue
        name = names.category(total.category)
        own = own_item_weight(total.batches)
        if own:
            found.append(_from_own(total.category, name, count, own))
        elif priors and priors.of(total.category):
            found.append(_from_prior(total.category, name, count, priors))
    return tuple(found)


def _from_own(category: str, name: str, count: int, own: OwnWeight) -> EstimatedLine:
    return EstimatedLine(
        category=category,
        name=name,
        count=count,
        item_g=own.item_g,
        grams=count * own.item_g,
        low_g=None,
        high_g=None,
        method="own_mean_item_weight",
        basis=f"mean item weight of this sort: {own.count} weighed objects, piles: {own.piles}",
        code=None,
    )


def _from_prior(category: str, name: str, count: int, priors: PriorWeights) -> EstimatedLine:
    used, *others = priors.of(category)
    weights = [used.item_g, *(other.item_g for other in others)]
    spread = len(weights) > 1
    return EstimatedLine(
        category=category,
        name=name,
        count=count,
        item_g=used.item_g,
        grams=count * used.item_g,
        low_g=count * min(weights) if spread else None,
        high_g=count * max(weights) if spread else None,
        method="prior_item_weight",
        basis=f"{used.material}: {used.containers_per_lb} per lb, {used.date}, {used.source}",
        code=used.code,
    )
