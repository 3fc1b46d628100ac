"""One figure of a study: a number that never stands without what it rests on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from classifier.estimators.result import Estimate

Basis = Literal["measured", "counted", "estimated", "estimated_with_split", "published"]
"""What a figure rests on; sum figures of one measure and one basis only.

measured: read from scales; counted: objects counted; estimated: inferred from weighed or audited
sorts, with an interval; estimated_with_split: the same where part of the weight was split among
routes by counts; published: somebody else's figure.
"""
WHOLE = "whole study"


@dataclass(frozen=True, slots=True)
class About:
    """What a figure is about: a category, group, route or kind of route, or the total."""

    level: str
    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Figure:
    """One row of the results.

    `value`, `low` and `high` are in `unit` ("1" is a fraction); low and high are None where there
    is no interval. `kind` says what low and high are: "confidence" or "scale" (bounds that the
    steps of the scales set for certain), empty for none. `stratum` is the part of the study.
    """

    about: About
    stratum: str
    measure: str
    basis: Basis
    unit: str
    value: float
    low: float | None = None
    high: float | None = None
    kind: str = ""
    level: float | None = None
    method: str = ""
    n: int | None = None
    assumptions: tuple[str, ...] = ()
    source: str = ""


def figures_of(
    estimates: Sequence[Estimate],
    about: Sequence[About],
    *,
    measure: str,
    stratum: str = WHOLE,
    basis: Basis | Sequence[Basis] = "estimated",
    scale: float = 1.0,
    unit: str | None = None,
) -> list[Figure]:
    """Return a figure for each estimate, times `scale`.

    An interval that is infinite is left out, and one of no width: that sorts don't differ in
    something, as where none has it, says nothing about how much others may.
    """
    bases = [basis] * len(estimates) if isinstance(basis, str) else list(basis)
    found = []
    for each, what, rests in zip(estimates, about, bases, strict=True):
        known = math.isfinite(each.low) and math.isfinite(each.high) and each.low < each.high
        found.append(
            Figure(
                about=what,
                stratum=stratum,
                measure=measure,
                basis=rests,
                unit=each.unit if unit is None else unit,
                value=scale * each.value,
                low=scale * each.low if known else None,
                high=scale * each.high if known else None,
                kind="confidence" if known else "",
                level=each.level if known else None,
                method=each.method,
                n=each.n,
                assumptions=each.assumptions,
            )
        )
    return found
