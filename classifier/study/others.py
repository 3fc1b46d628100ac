"""The log-ratio summary of a study, and the study beside national figures."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from classifier.estimators.logratio_summary import logratio_summary
from classifier.report.national import National
from classifier.study.columns import ESTIMATED, Columns
from classifier.study.figures import WHOLE, About, Figure
from classifier.study.plan import StudyPlan
from classifier.study.shares import SHARE, whole_shares
from classifier.study.strata import Strata
from classifier.study.table import StudyTable

_ROUNDING = 1e-9


def logratio_figures(groups: Columns) -> tuple[list[Figure], list[str]]:
    """Return the Aitchison centre of the groups, and how zeros were handled.

    Of groups and not of categories: a category that most sorts lack would show little but the
    number that stands in for its zeros.
    """
    kept = groups.grams.sum(axis=0) > 0
    about = [each for each, keep in zip(groups.about, kept, strict=True) if keep]
    if len(about) < 2:
        return [], []
    summary = logratio_summary(groups.grams[:, kept])
    figures = []
    for measure, values in (
        ("logratio_centre", summary.centre),
        ("logratio_clr_sd", summary.clr_sd),
    ):
        for each, value in zip(about, values, strict=True):
            figures.append(
                Figure(
                    each, WHOLE, measure, "estimated", "1", float(value), n=summary.n,
                    method="Aitchison centre, zeros replaced multiplicatively"
                    if measure == "logratio_centre"
                    else "standard deviation of centred log-ratios",
                    assumptions=summary.assumptions,
                )
            )  # fmt: skip
    zeros = int(summary.zeros.sum())
    moved = [
        f"{each.name} ({100 * (ratio - 1):+.0f} %)"
        for each, ratio, none in zip(about, summary.sensitivity, summary.zeros, strict=True)
        if none and abs(ratio - 1) > 0.1
    ]
    replaced = (
        f"{zeros} of {summary.n * len(about)} values are zeros, each replaced by "
        f"{summary.replacement:.2g} of its sort and the others made smaller by as much "
        "(multiplicative replacement)"
        if zeros
        else "no value is zero"
    )
    note = (
        f"Log-ratios: {replaced}. The centre is the typical sort, not a mean share, and does not "
        "scale to tonnes."
    )
    if moved:
        note += f" Half that replacement would move the centre of {', '.join(moved)}."
    return figures, [note]


def national_figures(
    table: StudyTable, columns: Columns, strata: Strata, plan: StudyPlan, national: National
) -> Iterator[Figure]:
    """Yield our share of each material beside the one published share that the plan asks for.

    Generation or what was landfilled, never both: they are shares of different wholes.
    """
    place = {category: k for k, category in enumerate(table.categories)}
    source = (
        f"{national.publisher}, {national.title}, {national.published}, {national.tables} "
        f"(data year {national.data_year}, code {national.ledger_code})"
    )
    about, gathered = [], []
    for material in national.materials:
        own = [place[each] for each in material.categories if each in place]
        if not material.categories:
            continue
        each = About("material", material.id, material.name)
        about.append(each)
        gathered.append(columns.grams[:, own].sum(axis=1))
        part, whole = (
            (material.generated, national.total.generated)
            if plan.national == "generated"
            else (material.landfilled, national.total.landfilled)
        )
        yield Figure(
            each, f"US {national.data_year}", f"share_of_{plan.national}", "published", "1",
            float(part / whole), source=source,
        )  # fmt: skip
    taken = np.stack(gathered, axis=1)
    totals = columns.grams.sum(axis=1)
    rest = totals - taken.sum(axis=1)
    about.append(About("material", "no_counterpart", "No counterpart in the table"))
    grams = np.column_stack([taken, np.where(rest > _ROUNDING * totals, rest, 0.0)])
    ours = Columns("material", tuple(about), grams, (ESTIMATED,) * len(about))
    shares = whole_shares(ours, strata, plan.estimator).intervals(level=plan.level)
    yield from ours.figures(shares, SHARE[plan.estimator])
