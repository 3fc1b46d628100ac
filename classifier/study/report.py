"""The report of a study: one pure function from a table and a plan to every figure shown.

Measured and estimated never meet in one number: each figure has its basis. What was weighed and
counted in these sorts is "measured" and "counted"; whatever is said about more than these sorts is
"estimated" and has an interval.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from classifier.report.national import National
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from classifier.study.audits import corrected_counts
from classifier.study.columns import Columns, columns_of
from classifier.study.contrasts import (
    alone_in,
    contrast_figures,
    contrast_notes,
    pairs_of,
    sides_of,
)
from classifier.study.coverage import Coverage, class_of, shortfalls
from classifier.study.figures import WHOLE, Figure
from classifier.study.notes import (
    few_lots_notes,
    parts_notes,
    place_notes,
    same_days_notes,
    sorts,
    sorts_are,
    table_notes,
    unweighed_notes,
)
from classifier.study.others import logratio_figures, national_figures
from classifier.study.plan import StudyPlan
from classifier.study.recovery import paired, potential_figures, rate_figures
from classifier.study.shares import (
    bootstrap_figures,
    found_figures,
    measured_figures,
    person_figures,
    population_figures,
    share_figures,
)
from classifier.study.strata import Strata, strata_of
from classifier.study.table import StudyTable

Steps = Callable[[str, int, int], None]
"""Called with what is being worked out, how much of it is done, and how much there is."""


@dataclass(frozen=True, slots=True)
class StratumLine:
    """A stratum as the report shows it; `weight` is its part of the whole, None if not given."""

    label: str
    sorts: int
    kg: float
    weight: float | None


@dataclass(frozen=True, slots=True)
class StudyReport:
    """Everything that pages, CSV and JSON show of a study.

    `notes` are for those who check; `cautions` are those of them that every reader needs.
    """

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
    cautions: tuple[str, ...]
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
    usable, left = _usable(table, plan, categories)
    cautions = [*table_notes(table), *parts_notes(table, plan), *left]
    work = _Work(usable, plan, categories, national, progress)
    if len(usable.sorts) >= 2:
        work.estimate()
        cautions = [*few_lots_notes(work.figures, plan), *cautions, *work.cautions]
    else:
        cautions.append("Fewer than two sorts with weighed piles: nothing can be estimated.")
    corrected = corrected_counts(table.photos, categories, plan)
    days = [sort.sorted_on for sort in table.sorts]
    measured = measured_figures(table, columns_of(table, categories)[0]) if table.sorts else ()
    figures = (*measured, *work.figures, *corrected.figures)
    return StudyReport(
        name=name,
        plan=plan,
        sorts=len(table.sorts),
        first_day=min(days, default=None),
        last_day=max(days, default=None),
        places=len({sort.place for sort in table.sorts} - {""}),
        persons=sum(sort.persons for sort in work.table.sorts),
        objects=int(table.objects.sum()),
        kg=float(table.grams.sum()) / 1e3,
        strata=_stratum_lines(work.table, work.strata),
        programmes=_statements(table, programmes),
        categories_version=categories.version,
        figures=figures,
        notes=(*cautions, *work.notes, *corrected.notes),
        cautions=tuple(cautions),
        coverage=tuple(shortfalls(_numbers(figures, work.strata))),
        classes=_classes(work.table),
        national=national if plan.national else None,
        table=table,
    )


def _numbers(figures: Iterable[Figure], strata: Strata) -> dict[str, int]:
    """Return how many sorts are behind each measure of the whole study, or behind its smallest
    difference: a stratum's own few are no measure of the whole."""
    numbers: dict[str, int] = {}
    for each in figures:
        if each.n is not None and (each.stratum == WHOLE or each.measure == "share_difference"):
            numbers[each.measure] = min(each.n, numbers.get(each.measure, each.n))
    if strata.parts[0] is not None:
        numbers["share_strata"] = numbers.pop("share_mean", 0)
    return numbers


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
        self.cautions: list[str] = []

    def estimate(self) -> None:
        plan, table = self.plan, self.table
        if plan.streams is not None:
            self._streams()
            table = self.table
        self.cautions += self.strata.notes
        self.cautions += same_days_notes(table)
        self.notes += place_notes(table)
        every = columns_of(table, self.categories)
        category, group = every[0], every[1]
        self.figures += found_figures(table, category, self.strata)
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
        return work(columns, self.strata, self.plan, self._step(f"{name}, {columns.level}"))

    def _step(self, what: str) -> Callable[[int, int], None] | None:
        step = self.progress
        return None if step is None else lambda done, total: step(what, done, total)

    def _streams(self) -> None:
        """Work out the rates, and go on with both containers of each household together."""
        streams = self.plan.streams
        assert streams is not None
        pairs = paired(self.table, self.plan, streams)
        if pairs.alone:
            self.cautions.append(
                f"{sorts_are(pairs.alone)} without a partner of the other container and left out "
                "of the estimates."
            )
        if pairs.again:
            self.cautions.append(
                f"{sorts_are(pairs.again)} of a container that its household already has and left "
                "out of the estimates: the plan's pair must name what tells them apart."
            )
        if pairs.uneven:
            self.cautions.append(
                f"Households whose two containers were filled over different numbers of days: "
                f"{pairs.uneven}. Their refuse is scaled to the days of the recycling."
            )
        if len(pairs.groups) < 2:
            self.cautions.append(
                "Fewer than two households with both containers: no rates of capture, "
                "contamination or diversion."
            )
            return
        both = self.table.merged(pairs.groups)
        self.strata = strata_of(both.sorts, self.plan)
        try:
            self.figures += rate_figures(self.table, pairs, streams, self.strata, self.plan)
        except ValueError as error:
            self.cautions.append(f"No rates: {error}.")
        self.table = both
        self.notes.append(
            "Shares and amounts are of both containers of each household together; what the "
            "programme accepts is judged by the route recorded for each object."
        )

    def _contrasts(self, levels: tuple[Columns, ...]) -> None:
        sides = sides_of(self.table, self.strata, self.plan)
        pairs, notes = pairs_of(sides)
        self.cautions += notes
        alone = alone_in(self.table, self.plan)
        if alone and len(sides) >= 2:
            self.cautions.append(f"One sort only, so not compared: {', '.join(alone)}.")
        if self.plan.compare and len(sides) < 2:
            self.notes.append(
                f"Nothing to compare by {self.plan.compare}: two values with two sorts each are "
                "needed."
            )
        for pair in pairs:
            for columns in levels:
                step = self._step(f"permutations, {columns.level}")
                self.figures += contrast_figures(columns, pair, self.plan, step)
        self.notes += contrast_notes(self.table, pairs)


def _usable(
    table: StudyTable, plan: StudyPlan, categories: Categories
) -> tuple[StudyTable, list[str]]:
    """Return the sorts that shares can be worked out from, and what is to be said of all."""
    notes = []
    weighed = table.grams.sum(axis=1) > 0
    kept = weighed
    if not weighed.all():
        notes.append(
            f"Without a weighed pile, and in no estimate: {int((~weighed).sum())} of "
            f"{sorts(len(table.sorts))}."
        )
    open_rows = table.unweighed.any(axis=1) & weighed
    if plan.unweighed == "leave_out" and open_rows.any():
        kept = weighed & ~open_rows
        notes.append(
            f"Left out of the estimates, as the plan says, for something found and not weighed: "
            f"{sorts(int(open_rows.sum()))}."
        )
    used = table if kept.all() else table.rows(np.flatnonzero(kept))
    return used, [*notes, *unweighed_notes(used, categories)]


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
