"""The report of a study: one pure function from a table and a plan to every figure shown.

Measured and estimated never meet in one number: each figure bears its basis. What was weighed and
counted in these sorts is "measured" and "counted"; whatever is said about more than these sorts is
"estimated" and has an interval.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from classifier.domain.categories import Categories
from classifier.domain.national import National
from classifier.domain.programme import Programme
from classifier.domain.report_categories import Names
from classifier.study.audits import corrected_counts
from classifier.study.columns import Columns, columns_of
from classifier.study.contrasts import (
    contrast_figures,
    contrast_notes,
    pairs_of,
    sides_of,
)
from classifier.study.coverage import Coverage, class_of, shortfalls
from classifier.study.figures import Figure
from classifier.study.others import logratio_figures, national_figures
from classifier.study.plan import StudyPlan
from classifier.study.recovery import paired, potential_figures, rate_figures
from classifier.study.shares import (
    bootstrap_figures,
    measured_figures,
    person_figures,
    population_figures,
    share_figures,
)
from classifier.study.strata import Strata, strata_of
from classifier.study.table import StudyTable

Steps = Callable[[str, int, int], None]
"""Told what is being worked out, how much of it is done, and how much there is."""


@dataclass(frozen=True, slots=True)
class StratumLine:
    """A stratum as the report shows it; `weight` is its part of the whole, None if not told."""

    label: str
    sorts: int
    kg: float
    weight: float | None


@dataclass(frozen=True, slots=True)
class StudyReport:
    """Everything that pages, CSV and JSON show of a study."""

    name: str
    plan: StudyPlan
    sorts: int
    first_day: date | None
    last_day: date | None
    places: int
    persons: int
    objects: int
    kg: float
    strata: tuple[StratumLine, ...]
    programmes: tuple[str, ...]
    categories_version: str
    figures: tuple[Figure, ...]
    notes: tuple[str, ...]
    coverage: tuple[Coverage, ...]
    classes: Mapping[str, str]
    national: National | None
    table: StudyTable

    def select(
        self, measure: str, *, level: str = "", stratum: str = "whole study"
    ) -> tuple[Figure, ...]:
        """Return the figures of one measure."""
        return tuple(
            each
            for each in self.figures
            if each.measure == measure
            and each.stratum == stratum
            and (not level or each.about.level == level)
        )


def build_study_report(
    name: str,
    table: StudyTable,
    plan: StudyPlan,
    categories: Categories,
    programmes: Mapping[str, Programme],
    *,
    national: National | None = None,
    progress: Steps | None = None,
) -> StudyReport:
    """Return the report of a study.

    Two sorts with weighed piles are needed for any estimate; with fewer the report holds what was
    measured and says so.
    """
    notes = list(_table_notes(table, categories))
    usable, left = _usable(table, plan)
    notes += left
    work = _Work(usable, plan, categories, national, progress)
    if len(usable.sorts) >= 2:
        work.estimate()
        notes += work.notes
    else:
        notes.append("Fewer than two sorts with weighed piles: nothing can be estimated.")
    corrected = corrected_counts(table.photos, categories, plan)
    notes += corrected.notes
    days = [sort.sorted_on for sort in table.sorts]
    figures = (*work.figures, *corrected.figures)
    numbers = {each.measure: each.n for each in figures if each.n is not None}
    if work.strata.weights is not None and len(work.strata.used) > 1:
        numbers = {"share_strata": numbers.pop("share_mean", 0), **numbers}
    return StudyReport(
        name=name,
        plan=plan,
        sorts=len(table.sorts),
        first_day=min(days, default=None),
        last_day=max(days, default=None),
        places=len({sort.place for sort in table.sorts} - {""}),
        persons=sum(sort.persons for sort in table.sorts),
        objects=int(table.objects.sum()),
        kg=float(table.grams.sum()) / 1e3,
        strata=_stratum_lines(work.table, work.strata),
        programmes=_statements(table, programmes),
        categories_version=categories.version,
        figures=figures,
        notes=tuple(notes),
        coverage=tuple(shortfalls(numbers)),
        classes=_classes(work.table),
        national=national if plan.national else None,
        table=table,
    )


class _Work:
    """What is gathered while a study is worked out."""

    def __init__(
        self,
        table: StudyTable,
        plan: StudyPlan,
        categories: Categories,
        national: National | None,
        progress: Steps | None,
    ) -> None:
        self.table = table
        self.plan = plan
        self.categories = categories
        self.national = national
        self.progress = progress
        self.strata = strata_of(table.sorts, plan)
        self.figures: list[Figure] = []
        self.notes: list[str] = []

    def estimate(self) -> None:
        plan, table = self.plan, self.table
        if plan.streams is not None:
            self._streams()
            table = self.table
        self.notes += self.strata.notes
        every = columns_of(table, self.categories)
        category, group = every[0], every[1]
        self.figures += measured_figures(table, category)
        for columns in every:
            self.figures += share_figures(columns, self.strata, plan)
        for columns in (category, group):
            self.figures += self._steps("bootstrap", columns, bootstrap_figures)
            self.figures += population_figures(columns, self.strata, plan)
        self.figures += person_figures(table, category, self.strata, plan)
        self.figures += potential_figures(table, self.strata, plan)
        self._contrasts((category, group, every[3]))
        figures, notes = logratio_figures(group)
        self.figures += figures
        self.notes += notes
        if plan.national and self.national is not None:
            self.figures += national_figures(table, category, self.strata, plan, self.national)

    def _steps(
        self,
        name: str,
        columns: Columns,
        work: Callable[..., Iterable[Figure]],
    ) -> Iterable[Figure]:
        return work(columns, self.strata, self.plan, self._told(f"{name}, {columns.level}"))

    def _told(self, what: str) -> Callable[[int, int], None] | None:
        told = self.progress
        return None if told is None else lambda done, total: told(what, done, total)

    def _streams(self) -> None:
        """Work out the rates, and go on with both containers of each household together."""
        streams = self.plan.streams
        assert streams is not None
        pairs = paired(self.table, self.plan, streams)
        if pairs.alone:
            self.notes.append(
                f"{pairs.alone} sorts have no partner of the other container and are left out."
            )
        if len(pairs.groups) < 2:
            self.notes.append(
                "Fewer than two households with both containers: no rates of capture, "
                "contamination or diversion."
            )
            return
        try:
            self.figures += rate_figures(self.table, pairs, streams, self.plan)
        except ValueError as error:
            self.notes.append(f"No rates: {error}.")
        self.table = self.table.merged(pairs.groups)
        self.strata = strata_of(self.table.sorts, self.plan)
        self.notes.append(
            "Shares and amounts are of both containers of each household together; what the "
            "programme accepts is judged by the route recorded for each object."
        )

    def _contrasts(self, levels: tuple[Columns, ...]) -> None:
        pairs = pairs_of(sides_of(self.table, self.strata, self.plan))
        if self.plan.compare and not pairs:
            self.notes.append(
                f"Nothing to compare by {self.plan.compare}: two values with two sorts each are "
                "needed."
            )
        for one, other in pairs:
            for columns in levels:
                told = self._told(f"permutations, {columns.level}")
                self.figures += contrast_figures(columns, one, other, self.plan, told)
        self.notes += contrast_notes(self.table, pairs)


def _usable(table: StudyTable, plan: StudyPlan) -> tuple[StudyTable, list[str]]:
    """Return the sorts that shares can be worked out from."""
    notes = []
    weighed = table.grams.sum(axis=1) > 0
    kept = weighed
    if not weighed.all():
        notes.append(
            f"{int((~weighed).sum())} of {len(table.sorts)} sorts have no weighed pile and are in "
            "no estimate."
        )
    open_rows = table.unweighed.any(axis=1) & weighed
    if plan.unweighed == "leave_out" and open_rows.any():
        kept = weighed & ~open_rows
        notes.append(
            f"{int(open_rows.sum())} sorts with something found and not weighed are left out, as "
            "the plan says."
        )
    return (table if kept.all() else table.rows(np.flatnonzero(kept))), notes


def _table_notes(table: StudyTable, categories: Categories) -> Iterator[str]:
    still_open = sum(not sort.closed for sort in table.sorts)
    if still_open:
        yield f"{still_open} sorts are still open: these figures may change."
    names = Names(categories)
    times = table.unweighed.sum(axis=0)
    affected = [
        f"{names.category(category)} (in {int(number)} sorts)"
        for category, number in zip(table.categories, times, strict=True)
        if number
    ]
    if affected:
        yield (
            "Found and not, or not wholly, weighed, so that shares by weight are too low: "
            f"{', '.join(affected)}."
        )
    light = int(((table.grams == 0) & (table.high > 0)).sum())
    if light:
        yield (
            f"{light} times a category was too light for the scale: it counts as 0 in the "
            "estimates, and with its upper bound in the bounds of the scales."
        )
    if table.contents_left:
        yield f"{table.contents_left} piles were weighed with contents left in."
    if table.split.any():
        part = 100 * table.split.sum() / table.grams.sum()
        yield (
            f"{part:.0f} % of the weight is of piles whose objects go different ways. It is split "
            "among routes by counts, which is an estimate; those figures are marked."
        )


def _stratum_lines(table: StudyTable, strata: Strata) -> tuple[StratumLine, ...]:
    weights = strata.weights
    whole = sum(weights) if weights else 0.0
    return tuple(
        StratumLine(
            label=each.label,
            sorts=len(each.rows),
            kg=float(table.grams[each.rows].sum()) / 1e3,
            weight=weights[place] / whole if weights else None,
        )
        for place, each in enumerate(strata.used)
    )


def _classes(table: StudyTable) -> dict[str, str]:
    n = len(table.sorts)
    found = (table.grams > 0).sum(axis=0)
    return {
        category: class_of(int(number), n)
        for category, number in zip(table.categories, found, strict=True)
    }


def _statements(table: StudyTable, programmes: Mapping[str, Programme]) -> tuple[str, ...]:
    ids = dict.fromkeys(sort.programme_id for sort in table.sorts)
    return tuple(
        programmes[each].statement if each in programmes else f"Programme {each} (file not there)"
        for each in ids
    )
