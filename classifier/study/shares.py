"""Shares, amounts per person and totals of a population, each of the whole study and by stratum."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from classifier.estimators._moments import Estimator
from classifier.estimators.composition import shares_with_bounds
from classifier.estimators.sample_shares import CategoryMeans, Period, per_person, shares_of_study
from classifier.estimators.strata import Amount, combine_strata, scale_to_population
from classifier.estimators.study_bootstrap import bootstrap_study
from classifier.study.columns import Columns
from classifier.study.figures import WHOLE, About, Figure, figures_of
from classifier.study.plan import StudyPlan
from classifier.study.strata import Strata
from classifier.study.table import Floats, StudyTable

ESTIMATORS: tuple[Estimator, ...] = ("mean of sample shares", "ratio of sums")
SHARE = {"mean of sample shares": "share_mean", "ratio of sums": "share_ratio"}
"""Names of the two measures of a share."""
Progress = Callable[[int, int], None]
TOTAL = About("total", "total", "Everything")


def whole_shares(columns: Columns, strata: Strata, estimator: Estimator) -> CategoryMeans:
    """Return shares of the whole study: strata by their weights, or all sorts as one sample."""
    parts, weights = strata.parts
    if parts is not None and weights is not None:
        means = [shares_of_study(columns.grams[rows], estimator=estimator) for rows in parts]
        return combine_strata(means, weights)
    return shares_of_study(columns.grams, estimator=estimator)


def share_figures(columns: Columns, strata: Strata, plan: StudyPlan) -> Iterator[Figure]:
    """Yield shares by both estimators, of the whole study and of each stratum."""
    for estimator in ESTIMATORS:
        measure = SHARE[estimator]
        whole = whole_shares(columns, strata, estimator).intervals(level=plan.level)
        yield from columns.figures(whole, measure)
        if len(strata.used) < 2:
            continue
        for each in strata.used:
            means = shares_of_study(columns.grams[each.rows], estimator=estimator)
            yield from columns.figures(means.intervals(level=plan.level), measure, each.label)


def bootstrap_figures(
    columns: Columns, strata: Strata, plan: StudyPlan, progress: Progress | None
) -> Iterator[Figure]:
    """Yield bootstrap intervals by sort of the plan's estimator."""
    if not plan.draws:
        return
    parts, weights = strata.parts
    estimates = bootstrap_study(
        [columns.grams] if parts is None else [columns.grams[rows] for rows in parts],
        weights=weights,
        estimator=plan.estimator,
        level=plan.level,
        draws=plan.draws,
        seed=plan.seed,
        progress=progress,
    )
    yield from columns.figures(estimates, f"{SHARE[plan.estimator]}_bootstrap")


def person_figures(
    table: StudyTable, columns: Columns, strata: Strata, plan: StudyPlan
) -> Iterator[Figure]:
    """Yield kilograms per person and day, and week; of each column and of everything."""
    persons = np.array([sort.persons for sort in table.sorts], dtype=np.float64)
    days = np.array([sort.days for sort in table.sorts], dtype=np.float64)
    everything = columns.grams.sum(axis=1, keepdims=True)
    periods: tuple[Period, ...] = ("week", "day")
    for period in periods:
        for grams, about in ((columns.grams, columns.about), (everything, (TOTAL,))):
            means = {
                each.label: per_person(
                    grams[each.rows], persons[each.rows], days[each.rows], per=period
                )
                for each in strata.used
            }
            weighted = len(means) > 1 and strata.person_weights is not None
            whole = (
                combine_strata(list(means.values()), strata.person_weights or [])
                if weighted
                else per_person(grams, persons, days, per=period)
            )
            shown = {WHOLE: whole, **(means if len(means) > 1 else {})}
            for label, each in shown.items():
                yield from figures_of(
                    each.intervals(level=plan.level),
                    about,
                    stratum=label,
                    measure=f"kg_per_person_{period}",
                    scale=1e-3,
                    unit="kg",
                )


def population_figures(columns: Columns, strata: Strata, plan: StudyPlan) -> Iterator[Figure]:
    """Yield totals of the population, with the uncertainty of its total and of the shares."""
    if plan.population is None:
        return
    amount = Amount(plan.population.total, plan.population.standard_error, plan.population.unit)
    totals = scale_to_population(whole_shares(columns, strata, plan.estimator), amount)
    yield from columns.figures(totals.intervals(level=plan.level), "population_total")


def measured_figures(table: StudyTable, columns: Columns) -> Iterator[Figure]:
    """Yield what was weighed and counted in all sorts, and the bounds that the scales set.

    What nobody weighed has no weight, not the weight 0.
    """
    n = len(table.sorts)
    masses = [(TOTAL, table.grams.sum(), table.low.sum(), table.high.sum())]
    masses += [
        (about, table.grams[:, k].sum(), table.low[:, k].sum(), table.high[:, k].sum())
        for k, about in enumerate(columns.about)
        if table.high[:, k].any()
    ]
    for about, value, low, high in masses:
        yield Figure(
            about, WHOLE, "net_weight", "measured", "kg",
            float(value) / 1e3, float(low) / 1e3, float(high) / 1e3,
            kind="scale", method="sum of all weighed piles", n=n,
        )  # fmt: skip
    for k, about in enumerate(columns.about):
        missing = int(table.unweighed[:, k].sum())
        if missing:
            yield Figure(about, WHOLE, "sorts_not_weighed", "counted", "1", float(missing), n=n)
    counts = [(TOTAL, table.objects.sum())]
    counts += [(about, table.objects[:, k].sum()) for k, about in enumerate(columns.about)]
    for about, number in counts:
        yield Figure(about, WHOLE, "objects", "counted", "1", float(number), n=n)


def found_figures(table: StudyTable, columns: Columns, strata: Strata) -> Iterator[Figure]:
    """Yield in how many of the sorts behind the estimates each column is, and what the scales leave
    open of its mean share; strata by their weights, as in the estimate."""
    n = len(table.sorts)
    for k, about in enumerate(columns.about):
        found = int(((table.grams[:, k] > 0) | (table.objects[:, k] > 0)).sum())
        yield Figure(about, WHOLE, "sorts_with_it", "counted", "1", float(found), n=n)
    bounds = shares_with_bounds(table.grams, table.low, table.high)
    counts_as = _part_of_each(n, strata)
    for k, about in enumerate(columns.about):
        if not table.high[:, k].any():
            continue
        yield Figure(
            about, WHOLE, "share_mean_scale_bounds", "measured", "1",
            float(counts_as @ bounds.value[:, k]),
            float(counts_as @ bounds.low[:, k]),
            float(counts_as @ bounds.high[:, k]),
            kind="scale", method="mean of sample shares of these sorts, bounds of the scales",
            n=int((counts_as > 0).sum()),
        )  # fmt: skip


def _part_of_each(n: int, strata: Strata) -> Floats:
    """Return how much each sort counts in a mean of shares; adds to 1."""
    parts, weights = strata.parts
    if parts is None or weights is None:
        return np.full(n, 1 / n)
    counts_as = np.zeros(n)
    for rows, weight in zip(parts, weights, strict=True):
        counts_as[rows] = weight / sum(weights) / len(rows)
    return counts_as
