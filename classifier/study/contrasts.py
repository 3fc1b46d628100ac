"""Differences between strata or dates: intervals, and a test of "nothing differs"."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from classifier.estimators.strata import combine_strata, difference
from classifier.estimators.study import CategoryMeans, shares_of_study
from classifier.estimators.study_permutation import permutation_test
from classifier.study.columns import Columns
from classifier.study.figures import Figure, figures_of
from classifier.study.plan import StudyPlan
from classifier.study.shares import Progress
from classifier.study.strata import Strata, Stratum, rows_by
from classifier.study.table import StudyTable

_MOST_PAIRS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One side of a comparison: its sorts, and the strata that they fall into."""

    label: str
    rows: NDArray[np.intp]
    strata: tuple[Stratum, ...]


def sides_of(table: StudyTable, strata: Strata, plan: StudyPlan) -> tuple[Side, ...]:
    """Return what the plan compares: the values of one part with two sorts or more each.

    In the order of their first days, so that a difference reads as what came later minus earlier.
    """
    if not plan.compare:
        return ()
    found = []
    for label, rows in rows_by(table.sorts, plan, (plan.compare,)).items():
        if len(rows) >= 2:
            inside = (_within(each, rows) for each in strata.used)
            found.append(Side(label, rows, tuple(each for each in inside if len(each.rows) >= 2)))
    first_day = {side.label: min(table.sorts[row].sorted_on for row in side.rows) for side in found}
    return tuple(sorted(found, key=lambda side: (first_day[side.label], side.label)))


def pairs_of(sides: tuple[Side, ...]) -> list[tuple[Side, Side]]:
    """Return every pair, or with many values each with the next one."""
    every = list(combinations(sides, 2))
    return every if len(every) <= _MOST_PAIRS else list(pairwise(sides))


def contrast_figures(
    columns: Columns, one: Side, other: Side, plan: StudyPlan, progress: Progress | None
) -> Iterator[Figure]:
    """Yield the differences `other` minus `one` of every column, and their p-values."""
    label = f"{other.label} minus {one.label}"
    gap = difference(_means(columns, other, plan), _means(columns, one, plan))
    yield from figures_of(
        gap.intervals(level=plan.level),
        columns.about,
        stratum=label,
        measure="share_difference",
        basis=columns.bases,
    )
    if not plan.divisions:
        return
    test = permutation_test(
        columns.grams[other.rows],
        columns.grams[one.rows],
        estimator=plan.estimator,
        draws=plan.divisions,
        seed=plan.seed,
        progress=progress,
    )
    how = "all" if test.exact else "random"
    for measure, values in (("p_permutation", test.p), ("p_adjusted", test.p_adjusted)):
        for about, value in zip(columns.about, values, strict=True):
            yield Figure(
                about, label, measure, "estimated", "1", float(value),
                method=f"{test.method}, {test.draws} {how} divisions",
                n=len(one.rows) + len(other.rows),
                assumptions=("sorts of both sides could have been in either",),
            )  # fmt: skip


def contrast_notes(table: StudyTable, pairs: list[tuple[Side, Side]]) -> Iterator[str]:
    """Yield what a reader must know about the comparisons."""
    for one, other in pairs:
        places = [{table.sorts[row].place for row in side.rows} - {""} for side in (one, other)]
        both = places[0] & places[1]
        if both:
            yield (
                f"{len(both)} places are in both {one.label} and {other.label}. The difference is "
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


def _means(columns: Columns, side: Side, plan: StudyPlan) -> CategoryMeans:
    weights = [each.weight for each in side.strata if each.weight is not None]
    if len(side.strata) > 1 and len(weights) == len(side.strata) and sum(weights) > 0:
        parts = [
            shares_of_study(columns.grams[each.rows], estimator=plan.estimator)
            for each in side.strata
        ]
        return combine_strata(parts, weights)
    return shares_of_study(columns.grams[side.rows], estimator=plan.estimator)
