"""`tallytare plan`: how many sorting samples a study needs, from a table or from a pilot."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import typer
from numpy.typing import NDArray

from classifier.errors import InvalidEntryError
from classifier.estimators.pilot import pilot_sd_error, precision_curve
from classifier.estimators.planning import Basis, SamplePlan, samples_needed
from classifier.report.planning_table import load_planning_table
from service.cli.pilot_csv import read_pilot
from service.cli.plan_table import curve_table, plan_table, wanted

METHOD = "ASTM D5231, iterated with Student's t, rounded up"
_USUAL = 10.0  # per cent of the mean, as in the worked example of the standard
CURVE = (5, 10, 20, 30, 50, 100, 200, 500)


@dataclass(frozen=True, slots=True)
class Spread:
    """Means and standard deviations to plan from, and where they are from."""

    source: str
    code: str
    categories: tuple[str, ...]
    means: NDArray[np.float64]
    sds: NDArray[np.float64]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Target:
    """What is wanted: a fraction of each mean or of the whole sample, and the confidence."""

    precision: float
    basis: Basis
    level: float


def target_of(precision: float | None, points: float | None, level: float) -> Target:
    """Return the target typed in per cent; a wrong one is a usage error."""
    if precision is not None and points is not None:
        raise typer.BadParameter("--precision and --points were both given: give one of them")
    given = precision if points is None else points
    given = _USUAL if given is None else given
    if not 0 < given < math.inf:
        raise typer.BadParameter(f"a precision of {given:g} was given: give a number above 0")
    if not 50 <= level <= 99.9:
        raise typer.BadParameter(f"--level {level:g} is not from 50 to 99.9: write 90 for 90 %")
    return Target(given / 100, "relative" if points is None else "absolute", level / 100)


def run_plan(
    files: Sequence[Path], *, target: Target, only: Sequence[str], curve: bool, as_json: bool
) -> None:
    """Write the plan as a table or as JSON."""
    spread = _chosen(_of_pilot(files) if files else _of_table(), only)
    try:
        plan = samples_needed(
            spread.means, spread.sds, spread.categories,
            precision=target.precision, basis=target.basis, level=target.level,
        )  # fmt: skip
    except ValueError as error:
        raise InvalidEntryError(f"no number can be given: {error}") from error
    if as_json:
        typer.echo(json.dumps(_json(plan, spread, curve), ensure_ascii=False, indent=2))
        return
    typer.echo(plan_table(plan, source=spread.source, notes=spread.notes))
    if curve:
        typer.echo(curve_table(plan, CURVE, _half_widths(plan)))


def _of_table() -> Spread:
    table = load_planning_table()
    return Spread(
        source=f"{table.publisher}: {table.title} (confidence code {table.code}: from memory, "
        "checked by its sum only)",
        code=table.code,
        categories=tuple(each.name for each in table.components),
        means=np.array([float(each.mean) for each in table.components]),
        sds=np.array([float(each.sd) for each in table.components]),
        notes=(table.caution,),
    )


def _of_pilot(files: Sequence[Path]) -> Spread:
    pilot = read_pilot(files)
    n = pilot.shares.shape[0]
    caution = (
        f"A pilot of {n} samples knows each standard deviation only to about "
        f"± {pilot_sd_error(n):.0%}, worse for lumpy categories, and the number of samples goes "
        "with its square: plan again with the first samples."
    )
    return Spread(
        source=f"pilot of {n} samples ({', '.join(file.name for file in files)})",
        code="",
        categories=pilot.categories,
        means=pilot.shares.mean(axis=0),
        sds=pilot.shares.std(axis=0, ddof=1),
        notes=(*pilot.notes, caution),
    )


def _chosen(spread: Spread, only: Sequence[str]) -> Spread:
    """Return the spread of the categories named, all if none is."""
    if not only:
        return spread
    known = {name.casefold(): place for place, name in enumerate(spread.categories)}
    unknown = [name for name in only if name.casefold() not in known]
    if unknown:
        raise InvalidEntryError(
            f"category {unknown[0]!r} is not there; allowed: {', '.join(spread.categories)}; "
            "give one of these"
        )
    places = sorted({known[name.casefold()] for name in only})
    return Spread(
        source=spread.source,
        code=spread.code,
        categories=tuple(spread.categories[place] for place in places),
        means=spread.means[places],
        sds=spread.sds[places],
        notes=spread.notes,
    )


def _half_widths(plan: SamplePlan) -> NDArray[np.float64]:
    return precision_curve(
        [each.mean for each in plan.categories],
        [each.sd for each in plan.categories],
        CURVE,
        basis=plan.basis,
        level=plan.level,
    )


def _json(plan: SamplePlan, spread: Spread, curve: bool) -> dict[str, object]:
    answer: dict[str, object] = {
        "samples": plan.samples,
        "deciding": plan.deciding.name,
        "precision": {"value": plan.precision, "basis": plan.basis, "text": wanted(plan)},
        "level": plan.level,
        "method": METHOD,
        "source": {"text": spread.source, "code": spread.code or None},
        "categories": [
            {
                "name": each.name,
                "mean": each.mean,
                "sd": each.sd,
                "passes": each.passes,
                "settled": each.settled,
                "samples": each.samples,
            }
            for each in plan.categories
        ],
        "left_out": plan.left_out,
        "notes": spread.notes,
    }
    if curve:
        answer["curve"] = [
            {
                "samples": n,
                "half_width": {
                    each.name: float(value)
                    for each, value in zip(plan.categories, row, strict=True)
                },
            }
            for n, row in zip(CURVE, _half_widths(plan), strict=True)
        ]
    return answer
