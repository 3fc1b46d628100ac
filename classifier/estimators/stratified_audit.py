"""Counts and accuracy where the audits were drawn by something else than the prediction.

By day, sorter or place, say: each verified item then stands for as many items as its stratum has
for each verified one, whatever it was called. p_j = sum_h W_h ybar_h with y "truly j"; variance
sum W_h^2 (1 - n_h / N_h) s_h^2 / n_h.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from classifier.estimators._checks import Floats, level_of
from classifier.estimators._tables import named, positions, sizes_of
from classifier.estimators.audit_accuracy import AuditAccuracy, accuracy_from_joint
from classifier.estimators.corrected import Correction, corrected, few_verified, label_caveats

_ASSUMED = (
    "the verified items are a random part of each stratum",
    "true labels are right",
    "the interval is about exactly these items",
)


@dataclass(frozen=True, slots=True, eq=False)
class StratifiedAudit:
    """Corrected counts, accuracy and the share of each (predicted, true) pair of categories.

    `cells` has shape (n_categories, n_categories) and adds to 1; rows are predictions.
    """

    correction: Correction
    accuracy: AuditAccuracy
    cells: Floats


def audit_by_strata(
    strata: Sequence[str],
    predicted: Sequence[str],
    confirmed: Sequence[str],
    *,
    stratum_sizes: Mapping[str, float],
    categories: Sequence[str],
    blind: bool,
    level: float = 0.95,
) -> StratifiedAudit:
    """Estimate counts and accuracy from items verified at random within strata of any kind.

    Parameters
    ----------
    strata, predicted, confirmed : sequence of str, of length n_verified
        Stratum, predicted and true category of each verified item.
    stratum_sizes : mapping of str to float
        All items of each stratum, the verified ones included.
    categories : sequence of str
        At least two; every prediction and truth is one of them.
    blind : bool
        Whether the verified labels were chosen before the suggestion was seen.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    StratifiedAudit
        With normal intervals and finite population correction; they may reach outside 0 to 1 and
        are not clipped.

    Raises
    ------
    ValueError
        If a name is unknown, lengths differ, the level is not allowed, or a stratum with items has
        fewer than two verified and was not verified wholly.

    Assumptions
    -----------
    The verified items of each stratum are a random part of it; true labels are right.

    References
    ----------
    S. V. Stehman, Int. J. Remote Sensing 35 (2014) 4923-4939 (DOMAIN.md 7.2, code A).

    Examples
    --------
    >>> result = audit_by_strata(
    ...     ["mon", "mon", "tue", "tue"],
    ...     ["can", "jar", "jar", "jar"],
    ...     ["can", "can", "jar", "jar"],
    ...     stratum_sizes={"mon": 30, "tue": 10}, categories=["can", "jar"], blind=True)
    >>> [count.value for count in result.correction.counts], result.accuracy.overall.value
    ([30.0, 10.0], 0.625)
    """
    level_of(level)
    if len(categories) < 2:
        raise ValueError(f"categories has {len(categories)} names: give at least two")
    names = named(categories, len(categories), "categories")
    rows = tuple(stratum_sizes)
    sizes = sizes_of(list(stratum_sizes.values()), "stratum_sizes")
    joint = _joint(strata, predicted, confirmed, rows, names)
    accuracy = accuracy_from_joint(
        joint, sizes, strata=rows, categories=names, blind=blind, level=level, finite=True
    )
    kept = sizes > 0
    shares, ends, cells = _shares(joint[kept], sizes[kept], level)
    n = joint.sum(axis=(1, 2))
    correction = corrected(
        names,
        shares,
        ends,
        float(sizes.sum()),
        level=level,
        method="stratified by other than the prediction, normal interval",
        n=int(n.sum()),
        assumptions=_ASSUMED,
        caveats=label_caveats(blind) + few_verified(rows, n, sizes),
    )
    return StratifiedAudit(correction=correction, accuracy=accuracy, cells=cells)


def _shares(
    joint: Floats, sizes: Floats, level: float
) -> tuple[Floats, tuple[Floats, Floats], Floats]:
    """Return true shares, the ends of their intervals, and the cells, from strata with items."""
    z = float(ndtri(0.5 + level / 2))
    n, weights = joint.sum(axis=(1, 2)), sizes / sizes.sum()  # (H,) each
    q = joint.sum(axis=1) / n[:, None]  # (H, K)
    # A stratum of one item, wholly verified, has no error: only the division must not fail.
    variance = (1 - n / sizes)[:, None] * q * (1 - q) / np.maximum(n - 1, 1)[:, None]
    shares, half = weights @ q, z * np.sqrt(weights**2 @ variance)
    return shares, (shares - half, shares + half), np.einsum("h,hij->ij", weights / n, joint)


def _joint(
    strata: Sequence[str],
    predicted: Sequence[str],
    confirmed: Sequence[str],
    rows: tuple[str, ...],
    names: tuple[str, ...],
) -> Floats:
    """Return the verified items by stratum, prediction and truth, of shape (H, K, K)."""
    lengths = {"strata": len(strata), "predicted": len(predicted), "confirmed": len(confirmed)}
    if len(set(lengths.values())) > 1:
        raise ValueError(f"lengths differ: {lengths}; give one entry for each verified item")
    place = (
        positions(strata, rows, "strata"),
        positions(predicted, names, "predicted"),
        positions(confirmed, names, "confirmed"),
    )
    joint = np.zeros((len(rows), len(names), len(names)))
    np.add.at(joint, place, 1.0)
    return joint
