"""How many items to verify (audit) for a wanted precision, before anything is verified.

The answer rests on error rates that one expects: from the model's card, or from a first part of the
audits. Where they turn out worse, so does the precision.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, level_of, matrix, same_length, whole_from
from classifier.estimators._tables import named, sizes_of
from classifier.estimators.corrected import Caveat, listed


@dataclass(frozen=True, slots=True)
class AuditPlan:
    """Audits needed in all, and the number to draw from each predicted category.

    `decided_by` names the true category that needs the most. `half_width` is what the audits are
    expected to give.
    """

    audits: int
    decided_by: str
    half_width: float
    categories: tuple[str, ...]
    by_category: tuple[int, ...]
    caveats: tuple[Caveat, ...]


def audits_for_shares(
    predicted_counts: ArrayLike,
    expected: ArrayLike,
    half_width: float,
    *,
    categories: Sequence[str],
    strata: Sequence[str] | None = None,
    level: float = 0.95,
    least: int = 2,
) -> AuditPlan:
    """Return how many audits give every corrected share to within ± half_width.

    Parameters
    ----------
    predicted_counts : array-like of shape (n_strata,)
        All items by predicted category.
    expected : array-like of shape (n_strata, n_categories)
        Expected P(true = column | predicted = row); rows add to 1. For instance a first confusion
        table, each row over its sum.
    half_width : float
        Wanted half-width of each share, as a fraction above 0, such as 0.05 for ± 5 points.
    categories, strata : sequence of str
        Names of columns and rows; the rows are named as the columns if left out.
    level : float
        Confidence level, between 0 and 1.
    least : int
        Audits of each predicted category at least, 2 or more; added on top where the shares give
        fewer.

    Returns
    -------
    AuditPlan
        Rounded up, never more than there are items; `decided_by` is the category that needs the
        most.

    Raises
    ------
    ValueError
        If a shape, name or number is not allowed.

    Assumptions
    -----------
    The expected shares hold; audits are drawn at random, in proportion to the counts, as a seeded
    share of all captures is; correction by `post_stratified_counts` with population="finite".

    Notes
    -----
    The least n with V_j(n) = (1 / n - 1 / N) A_j + B_j / n^2 <= (half_width / z)^2 for all j, with
    A_j = sum W_i q_ij (1 - q_ij), B_j = sum (1 - W_i) q_ij (1 - q_ij): the second term is the price
    of leaving the numbers by stratum to chance.

    References
    ----------
    W. G. Cochran, Sampling Techniques, 3rd ed. (1977), eq. 5A.42 (post-stratification).

    Examples
    --------
    >>> plan = audits_for_shares([600, 400], [[0.9, 0.1], [0.2, 0.8]], 0.05,
    ...                          categories=["can", "jar"])
    >>> plan.audits, plan.by_category
    (155, (93, 62))
    """
    counts, q = _sizes(predicted_counts), matrix(expected, "expected")
    same_length(predicted_counts=counts, expected=q)
    names = named(categories, q.shape[1], "categories")
    rows = named(names if strata is None else strata, q.shape[0], "strata")
    if q.min() < 0 or not np.allclose(q.sum(axis=1), 1):
        raise ValueError("expected must not be below 0 and each row must add to 1")
    total, weights = counts.sum(), counts / counts.sum()
    wanted = _variance(half_width, level)
    spread = q * (1 - q)
    a, b = weights @ spread, (1 - weights) @ spread  # (K,) each
    # The positive root of (wanted + a / N) n^2 - a n - b = 0, for each category.
    lead = wanted + a / total
    needed = (a + np.sqrt(a**2 + 4 * lead * b)) / (2 * lead)
    n = min(_up(needed.max()), int(total))
    plan = _allocated(n, weights, counts, whole_from(least, 2, "least"))
    drawn = plan.sum()
    worst = max(float(((1 / drawn - 1 / total) * a + (b / drawn**2) * (drawn < total)).max()), 0.0)
    width = math.sqrt(worst / wanted) * half_width
    return _plan(rows, names[int(needed.argmax())], plan, counts, width)


def _sizes(values: ArrayLike) -> Floats:
    counts = sizes_of(values, "predicted_counts")
    if (counts % 1).any():
        raise ValueError("predicted_counts holds a number that is no count: give whole numbers")
    return counts


def _variance(half_width: float, level: float) -> float:
    if not 0 < half_width < 1:
        raise ValueError(f"half_width {half_width} is not between 0 and 1: write 0.05 for ± 5 %")
    return (half_width / float(scipy.special.ndtri(0.5 + level_of(level) / 2))) ** 2


def _up(number: float) -> int:
    """Return the next whole number, but not one more because of a rounding error."""
    return max(math.ceil(number - 1e-9), 1)


def _allocated(n: int, parts: Floats, counts: Floats, least: int) -> Floats:
    """Return n audits by category in the given proportion, as far as there are items.

    Categories that would get less than `least` get so many on top.
    """
    kept = parts > 0
    low, high = 0.0, float((counts[kept] / parts[kept]).max())
    for _ in range(100):
        middle = (low + high) / 2
        enough = np.minimum(middle * parts, counts).sum() >= n
        low, high = (low, middle) if enough else (middle, high)
    exact = np.minimum(high * parts, counts)
    plan = np.floor(exact + 1e-6)
    # The largest remainders are rounded up, so that the sum is n.
    first = np.argsort(plan - exact, kind="stable")
    first = first[plan[first] < counts[first]][: max(n - int(plan.sum()), 0)]
    plan[first] += 1
    return np.minimum(np.maximum(plan, least), counts)


def _plan(
    names: tuple[str, ...], decided_by: str, plan: Floats, counts: Floats, half_width: float
) -> AuditPlan:
    caveats = []
    if plan.sum() == counts.sum():
        caveats.append(Caveat("all", "All items have to be verified for this precision."))
    rare = (plan < 5) & (plan < counts)
    if rare.any():
        caveats.append(
            Caveat(
                "rare",
                "Fewer than 5 audits are planned, which says little about these predictions by "
                f"themselves: {listed(names, rare)}. Draw from each predicted category rather than "
                "from all items, or join them.",
            )
        )
    return AuditPlan(
        audits=int(plan.sum()),
        decided_by=decided_by,
        half_width=half_width,
        categories=names,
        by_category=tuple(int(number) for number in plan),
        caveats=tuple(caveats),
    )
