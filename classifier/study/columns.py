"""The columns that have shares: categories, groups, routes, and kinds of route."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from classifier.estimators.result import Estimate
from classifier.report.categories import Names
from classifier.report.routes import KIND_NAMES, kind_of, route_name
from classifier.rules.category_parts import Categories
from classifier.study.figures import WHOLE, About, Basis, Figure, figures_of
from classifier.study.table import Floats, StudyTable

ESTIMATED: Basis = "estimated"


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """One way to divide the mass of every sort: `grams` has shape (n_sorts, n_columns)."""

    level: str
    about: tuple[About, ...]
    grams: Floats
    bases: tuple[Basis, ...]

    def figures(
        self, estimates: Sequence[Estimate], measure: str, stratum: str = WHOLE
    ) -> list[Figure]:
        """Return the figure of each column (`figures_of`)."""
        return figures_of(estimates, self.about, measure=measure, stratum=stratum, basis=self.bases)


def columns_of(table: StudyTable, categories: Categories) -> tuple[Columns, ...]:
    """Return categories, groups, routes and kinds; routes and kinds without mass are left out."""
    names = Names(categories)
    own = tuple(About("category", each, names.category(each)) for each in table.categories)
    groups = [names.group_of(each) for each in table.categories]
    kinds = [kind_of(route) for route in table.routes]
    of_route = table.by_route.sum(axis=1)  # (n, R)
    split = table.split.sum(axis=(0, 1))  # (R,)
    route_about = [About("route", route, route_name(route)) for route in table.routes]
    kind_about = [About("kind", kind, name) for kind, name in KIND_NAMES.items()]
    return (
        Columns("category", own, table.grams, (ESTIMATED,) * len(own)),
        _gathered(
            [About("group", ident, name) for ident, name in names.groups()], groups, table.grams
        ),
        _ways(route_about, list(table.routes), of_route, split),
        _ways(kind_about, list(kinds), of_route, split),
    )


def _gathered(about: list[About], heading: list[str], grams: Floats) -> Columns:
    kept = [each for each in about if each.id in heading]
    taken = [grams[:, [own == each.id for own in heading]].sum(axis=1) for each in kept]
    stacked = np.stack(taken, axis=1) if kept else np.zeros((grams.shape[0], 0))
    return Columns(about[0].level, tuple(kept), stacked, (ESTIMATED,) * len(kept))


def _ways(about: list[About], heading: list[str], grams: Floats, split: Floats) -> Columns:
    found = {own for own, mass in zip(heading, grams.sum(axis=0), strict=True) if mass > 0}
    kept = [each for each in about if each.id in found]
    gathered = _gathered(kept, heading, grams) if kept else Columns("", (), grams[:, :0], ())
    parts = [sum(part for own, part in zip(heading, split, strict=True) if own == each.id)
             for each in kept]  # fmt: skip
    bases: tuple[Basis, ...] = tuple(
        "estimated_with_split" if part > 0 else ESTIMATED for part in parts
    )
    return Columns(about[0].level, gathered.about, gathered.grams, bases)
