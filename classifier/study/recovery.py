"""Rates of a collection, the recovery potential under the programme, and what another would take.

Which sorts are of which container, the plan says. The two sorts of one household are joined into
one sample: rates and composition are then of both containers together, over as many days as the
first was filled.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.estimators.rates import recovery_potential, recovery_rates
from classifier.rules.programme_rules import RECOVERED
from classifier.study.figures import About, Basis, Figure, figures_of
from classifier.study.plan import Streams, StudyPlan
from classifier.study.shares import TOTAL
from classifier.study.strata import Strata, label_of
from classifier.study.table import Floats, StudyTable

_RATES = {
    "contamination": "Contamination of the recycling container",
    "capture": "Capture: accepted material that reached the recycling container",
    "gross_diversion": "Diversion, all in the recycling container",
    "net_diversion": "Diversion, accepted material only",
}


@dataclass(frozen=True, slots=True, eq=False)
class Paired:
    """Households with both containers: a row of the joined table, and the rows of either.

    `alone` counts sorts without a partner, `again` further sorts of a container that a household
    already has, `uneven` households whose containers were filled over different numbers of days.
    """

    groups: tuple[tuple[int, int], ...]
    alone: int
    again: int
    uneven: int


def paired(table: StudyTable, plan: StudyPlan, streams: Streams) -> Paired:
    """Return the pairs (recycling, refuse) of sorts; of several of one container the first counts,
    and what has no partner is left out."""
    again = 0
    found: dict[str, dict[str, int]] = defaultdict(dict)
    for row, sort in enumerate(table.sorts):
        value = label_of(sort, plan, (streams.part,))
        kind = (
            "recycling"
            if value in streams.recycling
            else "refuse"
            if value in streams.refuse
            else ""
        )
        if kind:
            own = found[label_of(sort, plan, streams.pair)]
            again += kind in own
            own.setdefault(kind, row)
    groups = tuple((each["recycling"], each["refuse"]) for each in found.values() if len(each) == 2)
    uneven = sum(table.sorts[one].days != table.sorts[other].days for one, other in groups)
    return Paired(groups, len(table.sorts) - 2 * len(groups) - again, again, uneven)


def rate_figures(
    table: StudyTable, pairs: Paired, streams: Streams, strata: Strata, plan: StudyPlan
) -> Iterator[Figure]:
    """Yield contamination, capture and diversion of the households with both containers.

    `strata` are those of the joined table, whose rows are the pairs.
    """
    rows = np.array(pairs.groups)
    taken, split = _ways(table, frozenset(streams.accepted_routes))
    whole = table.grams.sum(axis=1)
    days = np.array([sort.days for sort in table.sorts], dtype=np.float64)
    same = days[rows[:, 0]] / days[rows[:, 1]]  # the refuse over as many days as the recycling
    a, m = taken[rows[:, 0]], taken[rows[:, 1]] * same
    # Rounding can leave -1e-13 where everything is accepted.
    u = np.maximum(whole[rows[:, 0]] - a, 0.0)
    o = np.maximum(whole[rows[:, 1]] * same - m, 0.0)
    parts, weights = strata.parts
    rates = recovery_rates(a, u, m, o, strata=parts, weights=weights, level=plan.level)
    basis = _basis(split)
    for name, words in _RATES.items():
        about = [About("rate", name, words)]
        yield from figures_of([getattr(rates, name)], about, measure=name, basis=basis)


def potential_figures(table: StudyTable, strata: Strata, plan: StudyPlan) -> Iterator[Figure]:
    """Yield the share that the programme can recover, and with what the plan adds to it.

    Every category has two columns, what goes to recovery and the rest, so that facts count: a
    dirty box is no potential.
    """
    recovered = [route in RECOVERED for route in table.routes]
    taken = table.by_route[:, :, recovered].sum(axis=2)  # (n, K)
    rest = np.maximum(table.by_route.sum(axis=2) - taken, 0.0)
    k = len(table.categories)
    now = np.concatenate([np.ones(k, dtype=bool), np.zeros(k, dtype=bool)])
    more = np.array([each in plan.what_if for each in table.categories])
    parts, weights = strata.parts
    answer = recovery_potential(
        np.concatenate([taken, rest], axis=1), now, now | np.concatenate([~now[:k], more]),
        estimator=plan.estimator, strata=parts, weights=weights, level=plan.level,
    )  # fmt: skip
    basis = _basis(bool(table.split.any()))
    names = ("recovery_potential", "recovery_potential_what_if", "recovery_potential_change")
    estimates = (answer.now, answer.then, answer.change)
    for name, estimate in zip(names, estimates, strict=True):
        if name == "recovery_potential" or plan.what_if:
            yield from figures_of([estimate], [TOTAL], measure=name, basis=basis)


def _basis(split: bool) -> Basis:
    return "estimated_with_split" if split else "estimated"


def _ways(table: StudyTable, routes: frozenset[str]) -> tuple[Floats, bool]:
    chosen: NDArray[np.bool_] = np.array([route in routes for route in table.routes])
    return table.by_route[:, :, chosen].sum(axis=(1, 2)), bool(table.split[:, :, chosen].any())
