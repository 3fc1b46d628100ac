"""Differences between strata or dates: intervals, and a test of "nothing differs"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from classifier.estimators.sample_shares import CategoryMeans, shares_of_study
from classifier.estimators.strata import combine_strata, difference
from classifier.estimators.study_permutation import Blocks, permutation_test
from classifier.study.columns import Columns
from classifier.study.figures import Figure
from classifier.study.plan import StudyPlan
from classifier.study.shares import Progress
from classifier.study.strata import Strata, Stratum, label_of, rows_by
from classifier.study.table import StudyTable

_MOST_PAIRS = 6
_EITHER = "sorts of both sides could have been in either"


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of a comparison: its sorts, and the strata that they fall into.

    `blocks` says of each stratum what it is apart from the side, as "flats" of "flats / spring".
    """

    label: str
    rows: NDArray[np.intp]
    strata: tuple[Stratum, ...]
    blocks: tuple[str, ...]

    def only(self, blocks: Sequence[str]) -> Side:
        """Return the side with these of its blocks, in this order."""
        strata = tuple(self.strata[self.blocks.index(block)] for block in blocks)
        rows = np.concatenate([each.rows for each in strata])
        return Side(self.label, rows, strata, tuple(blocks))

    @property
    def weights(self) -> list[float]:
        """Size of each stratum, 0 where the plan gives none."""
        return [each.weight or 0.0 for each in self.strata]


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """Two sides that can be set against each other; weighed strata are the same on both."""

    one: Side
    other: Side
    weighed: bool

    @property
    def label(self) -> str:
        """What the difference is called."""
        return f"{self.other.label} minus {self.one.label}"


def sides_of(table: StudyTable, strata: Strata, plan: StudyPlan) -> tuple[Side, ...]:
    """Return what the plan compares: the values of one part with two sorts or more each.

    In the order of their first days, so that a difference reads as what came later minus earlier.
    """
    if not plan.compare:
        return ()
    apart = [name for name in plan.strata if name != plan.compare]
    found = []
    for label, rows in rows_by(table.sorts, plan, (plan.compare,)).items():
        if len(rows) >= 2:
            inside = (_within(each, rows) for each in strata.used)
            used = tuple(each for each in inside if len(each.rows) >= 2)
            blocks = tuple(label_of(table.sorts[each.rows[0]], plan, apart) for each in used)
            found.append(Side(label, rows, used, blocks))
    first_day = {side.label: min(table.sorts[row].sorted_on for row in side.rows) for side in found}
    return tuple(sorted(found, key=lambda side: (first_day[side.label], side.label)))


def alone_in(table: StudyTable, plan: StudyPlan) -> tuple[str, ...]:
    """Return the values that the plan compares and of which there is one sort only."""
    if not plan.compare:
        return ()
    found = rows_by(table.sorts, plan, (plan.compare,))
    return tuple(label for label, rows in found.items() if len(rows) < 2)


def pairs_of(sides: tuple[Side, ...]) -> tuple[list[Pair], list[str]]:
    """Return every pair, or with many values each with the next one, and what must be said of them.

    Where the plan weighs the strata, only those that both sides have are compared: else a
    difference would show which strata were sorted, not what was in them.
    """
    every = list(combinations(sides, 2))
    found, notes = [], []
    for one, other in every if len(every) <= _MOST_PAIRS else pairwise(sides):
        strata = (*one.strata, *other.strata)
        if not strata or any(each.weight is None for each in strata):
            found.append(Pair(one, other, weighed=False))
            continue
        common = [block for block in one.blocks if block in other.blocks]
        label = f"{other.label} minus {one.label}"
        if len(common) < max(len(one.blocks), len(other.blocks)):
            said = f"only within {', '.join(common)}" if common else "not compared"
            notes.append(
                f"{label}: {said}, for the two have not the same strata with two sorts or more."
            )
        if not common:
            continue
        pair = Pair(one.only(common), other.only(common), weighed=len(common) > 1)
        if pair.weighed and not (sum(pair.one.weights) and sum(pair.other.weights)):
            notes.append(f"{label}: not compared, for the plan gives the strata the weight 0.")
            continue
        found.append(pair)
    return found, notes


def contrast_figures(
    columns: Columns, pair: Pair, plan: StudyPlan, progress: Progress | None
) -> Iterator[Figure]:
    """Yield the differences of a pair in every column, and their p-values."""
    one, other = pair.one, pair.other
    gap = difference(*(_means(columns, side, pair, plan) for side in (other, one)))
    yield from columns.figures(gap.intervals(level=plan.level), "share_difference", pair.label)
    if not plan.divisions:
        return
    test = permutation_test(
        columns.grams[other.rows],
        columns.grams[one.rows],
        blocks=_blocks(pair),
        estimator=plan.estimator,
        draws=plan.divisions,
        seed=plan.seed,
        progress=progress,
    )
    how = "all" if test.exact else "random"
    for measure, values in (("p_permutation", test.p), ("p_adjusted", test.p_adjusted)):
        for about, value in zip(columns.about, values, strict=True):
            yield Figure(
                about, pair.label, measure, "estimated", "1", float(value),
                method=f"{test.method}, {test.draws} {how} divisions",
                n=len(one.rows) + len(other.rows),
                assumptions=(f"{_EITHER}, within their stratum" if pair.weighed else _EITHER,),
            )  # fmt: skip


def contrast_notes(table: StudyTable, pairs: Sequence[Pair]) -> Iterator[str]:
    """Yield what a reader must know about the comparisons."""
    for pair in pairs:
        one, other = pair.one, pair.other
        places = [{table.sorts[row].place for row in side.rows} - {""} for side in (one, other)]
        both = places[0] & places[1]
        if both:
            yield (
                f"Places in both {one.label} and {other.label}: {len(both)}. The difference is "
                "worked out as if they were different households; taken pair by pair it would "
                "likely be more precise."
            )


def _within(stratum: Stratum, rows: NDArray[np.intp]) -> Stratum:
    return Stratum(
        stratum.label,
        np.intersect1d(stratum.rows, rows),
        stratum.weight,
        stratum.person_weight,
    )


def _means(columns: Columns, side: Side, pair: Pair, plan: StudyPlan) -> CategoryMeans:
    if not pair.weighed:
        return shares_of_study(columns.grams[side.rows], estimator=plan.estimator)
    parts = [
        shares_of_study(columns.grams[each.rows], estimator=plan.estimator) for each in side.strata
    ]
    return combine_strata(parts, side.weights)


def _blocks(pair: Pair) -> Blocks | None:
    if not pair.weighed:
        return None
    of_one, of_other = (
        np.repeat(np.arange(len(side.strata)), [len(each.rows) for each in side.strata])
        for side in (pair.other, pair.one)
    )
    return Blocks(of_one, of_other, pair.other.weights, pair.one.weights)
