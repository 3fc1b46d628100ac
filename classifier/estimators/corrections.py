"""Counts by category, corrected by the part of the items that a person verified.

A count of what a model called a can is no count of cans: some cans are missed, other things are
called cans. Here a random part of these very items was verified (audits), at random among all or
within each predicted category; only that is assumed. Where some categories have too few,
`pool_sparse_strata` comes first (only after a draw at random among all items). Items that the
sorter doubted are no random part: nothing can be corrected by them. Error rates known from another
set would have to be the same here as there, which a new camera, floor or lamp breaks.

The estimator here: with W_i the share of stratum i, n_i of its N_i items verified and q_ij the part
of them that truly is j, p_j = sum_i W_i q_ij and S(p_j)^2 = sum_i W_i^2 (1 - f_i) q_ij (1 - q_ij) /
(n_i - 1), with f_i = n_i / N_i if "finite", else 0; "sampled" adds sum_i W_i (q_ij - p_j)^2 / N.
Two categories, sampled: Tenenbein's double sampling.

Coverage of its 95 % intervals, simulated with eight categories from 30 % to 2 % (mean over them;
the rarest): "wilson" finite 95 % (93-95 %), sampled 96 % (97 %). "normal", as published, is too
narrow for rare categories: 100 of 1,000 items verified 89 % (76 %), 60 of 300 verified 83 % (62 %).

Labels given after seeing the suggestion are anchored, not independent: each function asks whether
they were `blind`, and says so if not. How many audits: `audit_size`. Whether two people agree in
the first place: `agreement` and `krippendorff`.

References
----------
P. Olofsson et al., Remote Sensing of Environment 148 (2014) 42-57 (DOMAIN.md 7.1, code A).
W. G. Cochran, Sampling Techniques, 3rd ed. (1977), sections 5A.9 and 12.2. A. Tenenbein, J. Amer.
Statist. Assoc. 65 (1970) 1350-1361 (code D). G. Y. Zou, W. Huang, X. Zhang, Comput. Statist. Data
Anal. 53 (2009) 1080-1085: Wilson intervals put together in quadrature (MOVER) for a linear function
of proportions (code D).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, level_of, same_length, whole_from
from classifier.estimators._tables import chosen_from, counted, enough_verified, named, sizes_of
from classifier.estimators.corrected import Correction, corrected, few_verified, label_caveats

Population = Literal["finite", "large", "sampled"]
Interval = Literal["wilson", "normal"]

_ALWAYS = ("the verified items are a random part of each stratum", "true labels are right")
_ASSUMED = {
    "finite": "the interval is about exactly these items",
    "large": "the verified are a negligible part of the items",
    "sampled": "the items are a random sample; the interval is about where they are from",
}


def post_stratified_counts(
    confusion: ArrayLike,
    stratum_counts: ArrayLike,
    *,
    categories: Sequence[str],
    blind: bool,
    strata: Sequence[str] | None = None,
    level: float = 0.95,
    population: Population = "finite",
    interval: Interval = "wilson",
) -> Correction:
    """Estimate shares and counts by true category from a verified part of each stratum.

    Parameters
    ----------
    confusion : array-like of shape (n_strata, n_categories)
        Verified items of each stratum (row: predicted category, or a group of them) that truly are
        of each category (column; the model need not know it).
    stratum_counts : array-like of shape (n_strata,)
        All items of each stratum, the verified ones included; not below 0.
    categories, strata : sequence of str
        Names of the columns and the rows; the latter are the same if left out.
    blind : bool
        Whether the verified labels were chosen before the suggestion was seen.
    level : float
        Confidence level, between 0 and 1.
    population : {"finite", "large", "sampled"}
        "finite": about exactly these items. "large": the published formula, without finite
        population correction. "sampled": about a larger whole that they are a random sample of.
    interval : {"wilson", "normal"}
        "wilson": from each stratum's Wilson interval; stays within 0 to 1 and has a width where no
        error was met. "normal": as published, ± z S.

    Returns
    -------
    Correction
        With n the number of verified items.

    Raises
    ------
    ValueError
        If a shape, name, count or option is not allowed, or a stratum with items has fewer than two
        verified and was not verified wholly.

    Assumptions
    -----------
    The verified items of each stratum are a random part of that stratum; true labels are right.

    References
    ----------
    Olofsson et al. 2014, eqs. 9-11; formulas and sources stand at the head of this module.

    Examples
    --------
    >>> cans = post_stratified_counts([[34, 6], [6, 54]], [400, 600],
    ...                               categories=["can", "other"], blind=True)
    >>> round(cans.counts[0].value), cans.counts[0].n
    (400, 100)
    """
    level_of(level)
    chosen_from(population, tuple(_ASSUMED), "population")
    chosen_from(interval, tuple(_HALVES), "interval")
    table, sizes = counted(confusion, "confusion"), sizes_of(stratum_counts, "stratum_counts")
    same_length(confusion=table, stratum_counts=sizes)
    names = named(categories, table.shape[1], "categories")
    rows = named(names if strata is None else strata, table.shape[0], "strata")
    enough_verified(table.sum(axis=1), sizes, rows)
    kept = sizes > 0
    q, ends = _shares(table[kept], sizes[kept], level, population, interval)
    return corrected(
        names,
        q,
        ends,
        float(sizes.sum()),
        level=level,
        method=f"post-stratified by prediction, {interval} interval",
        n=int(table.sum()),
        assumptions=(*_ALWAYS, _ASSUMED[population]),
        caveats=label_caveats(blind) + few_verified(rows, table.sum(axis=1), sizes),
    )


def _shares(
    table: Floats, sizes: Floats, level: float, population: str, interval: str
) -> tuple[Floats, tuple[Floats, Floats]]:
    """Return shares and ends of their intervals, each of shape (K,), from strata with items."""
    z = float(scipy.special.ndtri(0.5 + level / 2))
    verified, total = table.sum(axis=1), sizes.sum()
    weights = (sizes / total)[:, None]  # (H, 1)
    q = table / verified[:, None]  # (H, K)
    shares = (weights * q).sum(axis=0)  # (K,)
    left = 1 - verified / sizes if population == "finite" else np.ones_like(sizes)
    extra = np.zeros_like(shares)
    if population == "sampled":
        extra = z**2 * (weights * (q - shares) ** 2).sum(axis=0) / total
    square = weights**2 * left[:, None]  # (H, 1)
    below, above = (
        np.sqrt((square * half**2).sum(axis=0) + extra)
        for half in _HALVES[interval](q, verified, z)
    )
    return shares, (shares - below, shares + above)


def _normal_halves(q: Floats, n: Floats, z: float) -> tuple[Floats, Floats]:
    # A stratum of one item, wholly verified, has no error: only the division must not fail.
    half = z * np.sqrt(q * (1 - q) / np.maximum(n - 1, 1)[:, None])
    return half, half


def _wilson_halves(q: Floats, n: Floats, z: float) -> tuple[Floats, Floats]:
    """Return the distances from each proportion down and up to its Wilson interval."""
    n = n[:, None]
    centre = (q + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z * np.sqrt(q * (1 - q) / n + z**2 / (4 * n**2)) / (1 + z**2 / n)
    return np.maximum(q - centre + half, 0.0), np.maximum(centre + half - q, 0.0)


_HALVES = {"wilson": _wilson_halves, "normal": _normal_halves}


@dataclass(frozen=True, slots=True, eq=False)
class PooledStrata:
    """Strata joined until each was verified enough; `strata` names them as "a + b"."""

    confusion: Floats
    stratum_counts: Floats
    strata: tuple[str, ...]


def pool_sparse_strata(
    confusion: ArrayLike, stratum_counts: ArrayLike, *, strata: Sequence[str], least: int = 2
) -> PooledStrata:
    """Join strata with too few verified items, so that `post_stratified_counts` can go on.

    All too sparse strata become one; while that is still too sparse, the stratum with the fewest
    verified items joins it. Strata without items are left out.

    Parameters
    ----------
    confusion, stratum_counts, strata
        As for `post_stratified_counts`.
    least : int
        Verified items that a stratum must have, at least 2.

    Returns
    -------
    PooledStrata
        To be passed on; the true categories stay as they are.

    Raises
    ------
    ValueError
        If a shape, name or count is not allowed, or all the verified together are fewer than
        `least`.

    Assumptions
    -----------
    The verified items were drawn at random among all items. If a fixed number was drawn from each
    predicted category, their rates differ within a joined stratum and the result is biased.

    References
    ----------
    W. G. Cochran, Sampling Techniques, 3rd ed. (1977), section 5A.9 (combining poststrata).

    Examples
    --------
    >>> pooled = pool_sparse_strata([[8, 0], [1, 0], [0, 1]], [50, 9, 6],
    ...                             strata=["can", "jar", "lid"])
    >>> pooled.strata, pooled.confusion.tolist()
    (('can', 'jar + lid'), [[8.0, 0.0], [1.0, 1.0]])
    """
    whole_from(least, 2, "least")
    table, sizes = counted(confusion, "confusion"), sizes_of(stratum_counts, "stratum_counts")
    same_length(confusion=table, stratum_counts=sizes)
    names = named(strata, table.shape[0], "strata")
    verified = table.sum(axis=1)
    order = np.argsort(verified, kind="stable")
    order = order[sizes[order] > 0]
    needed = np.minimum(least, sizes)
    sparse = [int(i) for i in order if verified[i] < needed[i]]
    rest = [int(i) for i in order if verified[i] >= needed[i]]
    while sparse and verified[sparse].sum() < least and rest:
        sparse.append(rest.pop(0))
    if sparse and verified[sparse].sum() < least:
        raise ValueError(
            f"{verified.sum():g} items verified in all: verify at least {least} to estimate an "
            "error"
        )
    groups = sorted([[i] for i in rest] + ([sorted(sparse)] if sparse else []))
    return PooledStrata(
        confusion=np.stack([table[group].sum(axis=0) for group in groups]),
        stratum_counts=np.array([sizes[group].sum() for group in groups]),
        strata=tuple(" + ".join(names[i] for i in group) for group in groups),
    )
