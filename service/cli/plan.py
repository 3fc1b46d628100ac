"""`tallytare plan`: how many sorting samples a study needs, from a table or from a pilot."""

from __future__ import annotations

import json
import math
import shutil
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from numpy.typing import NDArray

from classifier.errors import InvalidEntryError
from classifier.estimators.pilot import pilot_sd_error, precision_curve
from classifier.estimators.planning import Basis, SamplePlan, samples_needed
from classifier.report.planning_table import load_planning_table
from service.cli.pilot_csv import read_pilot

app = typer.Typer()
METHOD = "ASTM D5231, iterated with Student's t, rounded up"
_USUAL = 10.0  # per cent of the mean, as in the worked example of the standard
_NAME_WIDTH = (8, 30)
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


@app.command("plan")
def plan_command(
    pilot: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="PILOT.csv",
            help="CSV reports of your first sorts, masses.csv of a study, or columns sample, "
            "category and one of share, percent, value, weight. Left out: the table of ASTM D5231.",
            show_default=False,
        ),
    ] = None,
    precision: Annotated[
        float | None,
        typer.Option(metavar="PERCENT", help="Wanted ±, in per cent of each mean; else 10."),
    ] = None,
    points: Annotated[
        float | None,
        typer.Option(metavar="POINTS", help="Wanted ± in percentage points instead, such as 2."),
    ] = None,
    level: Annotated[
        float, typer.Option("--level", metavar="PERCENT", help="Confidence, as 90 or 95.")
    ] = 90.0,
    category: Annotated[
        list[str] | None,
        typer.Option(
            "--category", metavar="NAME", help="Plan for this one only; may be given several times."
        ),
    ] = None,
    curve: Annotated[
        bool, typer.Option("--curve", help="Also show what precision other numbers would give.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="JSON, for other programs.")] = False,
) -> None:
    """Say how many sorting samples a study needs, and which category decides.

    Exit code 0: planned; 1: the pilot can't be used; 2: wrong arguments.
    """
    target = target_of(precision, points, level)
    spread = _chosen(_of_pilot(pilot) if pilot else _of_table(), category or [])
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
    typer.echo(_plan_table(plan, source=spread.source, notes=spread.notes))
    if curve:
        typer.echo(_curve_table(plan, CURVE, _half_widths(plan)))


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
        "precision": {"value": plan.precision, "basis": plan.basis, "text": _wanted(plan)},
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


def _wanted(plan: SamplePlan) -> str:
    """Return the precision that was asked for, in words."""
    if plan.basis == "relative":
        return f"± {100 * plan.precision:g} % of each mean"
    return f"± {100 * plan.precision:g} percentage points"


def _plan_table(plan: SamplePlan, *, source: str, notes: Sequence[str]) -> str:
    """Return the answer, one line a category, and what it rests on."""
    width = _name_width(plan)
    lines = [
        f"{plan.samples} sorting samples: {plan.deciding.name} decides "
        f"({_wanted(plan)}, {100 * plan.level:g} % confidence).",
        "",
        f"{'CATEGORY':<{width}}  {'MEAN':>7}  {'SD':>7}  {'SAMPLES':>9}",
    ]
    for each in plan.categories:
        mark = "  <- decides" if each is plan.deciding else ""
        lines.append(
            f"{_cut(each.name, width):<{width}}  {each.mean:>7.2%}  {each.sd:>7.2%}  "
            f"{each.samples:>9}{mark}"
        )
    said = [f"From: {source}"]
    if plan.left_out:
        said.append(f"Not in any sample, so left out: {', '.join(plan.left_out)}.")
    said += notes
    return "\n".join([*lines, "", *(_wrapped(text) for text in said)])


def _curve_table(plan: SamplePlan, samples: Sequence[int], widths: NDArray[np.float64]) -> str:
    """Return what each number of samples buys: `widths` of shape (n_samples, n_categories)."""
    width = _name_width(plan)
    meaning = "of its mean" if plan.basis == "relative" else "of the sample (percentage points)"
    lines = [
        "",
        _wrapped(f"Precision by number of samples: each share within ±, {meaning}"),
        "",
        f"{'CATEGORY':<{width}}" + "".join(f"  {n:>6}" for n in samples),
    ]
    for each, column in zip(plan.categories, widths.T, strict=True):
        cells = "".join(f"  {value:>6.1%}" for value in column)
        lines.append(f"{_cut(each.name, width):<{width}}{cells}")
    return "\n".join(lines)


def _name_width(plan: SamplePlan) -> int:
    low, high = _NAME_WIDTH
    return min(max(low, *(len(each.name) for each in plan.categories)), high)


def _wrapped(text: str) -> str:
    width = max(shutil.get_terminal_size((100, 24)).columns, 40)
    return textwrap.fill(text, width, subsequent_indent="    ")


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."
