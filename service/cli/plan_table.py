"""A plan as tables that people read in a terminal."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from classifier.estimators.planning import SamplePlan

_NAME_WIDTH = (8, 30)


def wanted(plan: SamplePlan) -> str:
    """Return the precision that was asked for, in words."""
    if plan.basis == "relative":
        return f"± {100 * plan.precision:g} % of each mean"
    return f"± {100 * plan.precision:g} percentage points"


def plan_table(plan: SamplePlan, *, source: str, notes: Sequence[str]) -> str:
    """Return the answer, one line a category, and what it rests on."""
    width = _name_width(plan)
    lines = [
        f"{plan.samples} sorting samples: {plan.deciding.name} decides "
        f"({wanted(plan)}, {100 * plan.level:g} % confidence).",
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


def curve_table(plan: SamplePlan, samples: Sequence[int], widths: NDArray[np.float64]) -> str:
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
