"""Short ways to make the totals of a small study."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from classifier.log.records import SortInfo
from classifier.report.national import load_national
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from classifier.study.plan import plan_from
from classifier.study.report import StudyReport, build_study_report
from classifier.study.table import StudyTable, study_table
from classifier.study.totals import CalledPhotos, CountedItems, SortTotals, WeighedPiles
from tests.unit.rows import a_sort

CATEGORIES = load_categories()
PROGRAMMES = {each.id: each for each in load_shipped_programmes(CATEGORIES)}
NATIONAL = load_national()


def ratio_of_sums(
    top: ArrayLike, bottom: ArrayLike, *, level: float = 0.90
) -> tuple[float, float, float]:
    """Return the ratio of sums of samples and both ends of its t interval, written out singly."""
    c, w = np.asarray(top, dtype=float), np.asarray(bottom, dtype=float)
    n, ratio = len(c), float(c.sum() / w.sum())
    variance = sum((ci - ratio * wi) ** 2 for ci, wi in zip(c, w, strict=True)) / (n - 1) / n
    half = float(stats.t.ppf(0.5 + level / 2, n - 1)) * variance**0.5 / w.mean()
    return ratio, ratio - half, ratio + half


def a_member(number: int, stratum: str = "", **given: Any) -> SortInfo:
    values = {
        "id": f"s{number}",
        "name": f"Household {number}",
        "place": f"House {number}",
        "stratum": stratum,
        "sorted_on": date(2026, 3, 2) + timedelta(days=number),
        "closed": True,
        **given,
    }
    return replace(a_sort(), **values)


def totals(
    sorts: Sequence[SortInfo],
    grams: Sequence[Mapping[str, float]],
    *,
    routes: Mapping[str, str] | None = None,
    photos: Sequence[CalledPhotos] = (),
) -> SortTotals:
    """Return totals in which each category of a sort is one pile, weighed to 1 g, of one object.

    `routes` names the route of a category, kerbside if it is not there; a category of 0 g is
    counted and not weighed.
    """
    found = routes or {}
    items, piles = [], []
    for sort, own in zip(sorts, grams, strict=True):
        for category, mass in own.items():
            items.append((sort.id, category, found.get(category, "kerbside"), 1, 1))
            if mass:
                piles.append(
                    (
                        sort.id, category, f"{sort.id}/{category}", True,
                        mass, mass - 0.5, mass + 0.5, None, False,
                    )
                )  # fmt: skip
    counted, weighed = CountedItems(), WeighedPiles()
    counted.add(items)
    weighed.add(piles)
    return SortTotals(tuple(sorts), counted, (), weighed, tuple(photos))


def table_of(given: SortTotals) -> StudyTable:
    return study_table(given, CATEGORIES, PROGRAMMES)


def reported(given: SortTotals, plan: Mapping[str, Any] | None = None) -> StudyReport:
    quick = {"draws": 200, "divisions": 200, **(plan or {})}
    return build_study_report(
        "A study", table_of(given), plan_from(quick, CATEGORIES), CATEGORIES, PROGRAMMES,
        national=NATIONAL,
    )  # fmt: skip


def drawn(n: int, strata: Sequence[str] = ("",), seed: int = 1) -> SortTotals:
    """Return totals of n invented sorts of five categories, some of which lack one."""
    generator = np.random.default_rng(seed)
    names = ("food", "corrugated_cardboard", "plastic_film", "textiles", "batteries")
    found = (1.0, 1.0, 1.0, 0.6, 0.2)
    sorts = [a_member(k, strata[k % len(strata)], persons=1 + k % 3) for k in range(n)]
    grams = []
    for _ in sorts:
        masses = np.maximum(generator.lognormal((7, 6, 5, 5, 3), 0.5).round(), 2.0)
        there = generator.random(5) < found
        grams.append(
            {name: float(mass) for name, mass, yes in zip(names, masses, there, strict=True) if yes}
        )
    ways = {"food": "organics", "plastic_film": "residual", "textiles": "drop_off"}
    return totals(sorts, grams, routes=ways)
