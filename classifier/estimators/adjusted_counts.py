"""Adjusted classify-and-count for any number of categories, from error rates measured elsewhere.

With C the rates P(predicted | true), columns c_j, and q the predicted shares of N items:
p = C^-1 q; Cov(p) = C^-1 [V + sum_j p_j^2 (diag c_j - c_j c_j') / n_j] C^-T with
V = (diag q - q q') / N if "sampled", sum_j p_j (diag c_j - c_j c_j') / N if "finite". With two
categories, rates known and "sampled" it is Rogan and Gladen's formula. Errors of q and C are
multiplied by up to the 1-norm of C^-1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import nnls
from scipy.special import ndtri

from classifier.estimators._checks import Floats, level_of, matrix, same_length
from classifier.estimators._tables import chosen_from, counted, named, sizes_of
from classifier.estimators.corrected import Caveat, Correction, corrected, label_caveats, listed
from classifier.estimators.rogan_gladen import LEAST_SEPARATION, POOR_SEPARATION

_ALWAYS = (
    "P(predicted | true) is the same here as where it was measured",
    "items are called independently of each other",
)
_ASSUMED = {
    "finite": "the interval is about exactly these items",
    "sampled": "the items are a random sample; the interval is about where they are from",
}
_SUM_WEIGHT = 1e4  # holds the shares' sum at 1 in the least-squares fallback


@dataclass(frozen=True, slots=True, eq=False)
class ErrorRates:
    """How the model calls each true category.

    `rates` has shape (n_categories, n_categories): P(predicted = row | true = column), columns add
    to 1. `n` has shape (n_categories,): items behind each column, infinite where known exactly.
    """

    rates: Floats
    n: Floats


def rates_from_confusion(confusion: ArrayLike, *, categories: Sequence[str]) -> ErrorRates:
    """Return P(predicted | true) from verified items.

    Parameters
    ----------
    confusion : array-like of shape (n_categories, n_categories)
        Items by predicted (row) and true category (column), from a random sample or a test set;
        not from a sample drawn by prediction, whose columns are distorted.
    categories : sequence of str
        Names of rows and columns.

    Returns
    -------
    ErrorRates
        The rates and the number of items behind each column.

    Raises
    ------
    ValueError
        If a shape, name or count is not allowed, or a category has fewer than two items.

    References
    ----------
    G. Forman, Data Mining and Knowledge Discovery 17 (2008) 164-206 (code D).

    Examples
    --------
    >>> rates_from_confusion([[9, 2], [1, 8]], categories=["can", "jar"]).rates.tolist()
    [[0.9, 0.2], [0.1, 0.8]]
    """
    table = counted(confusion, "confusion")
    names = named(categories, table.shape[1], "categories")
    if table.shape[0] != table.shape[1]:
        raise ValueError(f"confusion has shape {table.shape}: give the same rows and columns")
    n = table.sum(axis=0)
    if n.min() < 2:
        raise ValueError(
            f"fewer than 2 items truly are: {listed(names, n < 2)}; verify more of them or join "
            "categories"
        )
    return ErrorRates(rates=table / n, n=n)


@dataclass(frozen=True, slots=True, eq=False)
class AdjustedCounts:
    """The correction within 0 to 1, and `raw`, the shares as solved, which may lie outside."""

    correction: Correction
    raw: Floats


def adjusted_counts(
    predicted_counts: ArrayLike,
    error_rates: ErrorRates,
    *,
    categories: Sequence[str],
    blind: bool,
    level: float = 0.95,
    population: Literal["finite", "sampled"] = "finite",
) -> AdjustedCounts:
    """Correct counts by prediction by solving (rates) x (true shares) = (predicted shares).

    Parameters
    ----------
    predicted_counts : array-like of shape (n_categories,)
        All items by predicted category.
    error_rates : ErrorRates
        From `rates_from_confusion`, or with n infinite if known exactly.
    categories : sequence of str
        Their names.
    blind : bool
        Whether the labels behind the rates were chosen before a suggestion was seen.
    level : float
        Confidence level, between 0 and 1.
    population : {"finite", "sampled"}
        "finite": about exactly these items; "sampled": about the whole they are a sample of.

    Returns
    -------
    AdjustedCounts
        With n the number of items. Where the solution has shares below 0, a caveat says so and the
        nearest possible shares (least squares) are given.

    Raises
    ------
    ValueError
        If an argument is not allowed, or errors would be multiplied by more than 20.

    Assumptions
    -----------
    P(predicted | true) is the same here as where it was measured (label shift); items are called
    independently of each other.

    References
    ----------
    G. Forman, KDD 2006 (DOMAIN.md 7.3).

    Examples
    --------
    >>> rates = ErrorRates(np.array([[.90, .10, .05], [.06, .80, .15], [.04, .10, .80]]),
    ...                    np.full(3, np.inf))
    >>> result = adjusted_counts([490, 300, 210], rates, categories=["a", "b", "c"], blind=True)
    >>> [round(count.value, 6) for count in result.correction.counts]
    [500.0, 300.0, 200.0]
    """
    level_of(level)
    chosen_from(population, tuple(_ASSUMED), "population")
    counts = sizes_of(predicted_counts, "predicted_counts")
    names = named(categories, counts.size, "categories")
    c, behind = _checked(error_rates, counts)
    q = counts / counts.sum()
    inverse, multiplier = _inverse(c, names)
    raw = inverse @ q
    outside = (raw < -1e-12) | (raw > 1 + 1e-12)
    shares = _nearest_shares(c, q) if outside.any() else raw.clip(0.0, 1.0)
    spread = _spread(c, behind, shares, q if population == "sampled" else None, counts.sum())
    variance = np.einsum("ai,ik,ak->a", inverse, spread, inverse)
    half = float(ndtri(0.5 + level / 2)) * np.sqrt(variance.clip(0.0))
    correction = corrected(
        names,
        shares,
        # A clipped interval must still hold the share shown.
        (np.minimum((raw - half).clip(0, 1), shares), np.maximum((raw + half).clip(0, 1), shares)),
        counts.sum(),
        level=level,
        method="adjusted classify-and-count, normal interval cut at 0 and 1",
        n=max(int(counts.sum()), 1),
        assumptions=(*_ALWAYS, _ASSUMED[population]),
        caveats=label_caveats(blind) + _caveats(names, raw, outside, multiplier),
    )
    return AdjustedCounts(correction=correction, raw=raw)


def _spread(c: Floats, behind: Floats, shares: Floats, q: Floats | None, total: float) -> Floats:
    """Return the covariance of q - C p: of the predicted shares and of the rates.

    `q` is None if the true shares are those of exactly these items, so that only the predictions
    are left to chance.
    """
    # By true category: the covariance of the prediction of one item, (K, K, K).
    one = c.T[:, :, None] * np.eye(shares.size) - np.einsum("ij,kj->jik", c, c)
    if q is None:
        predicted = np.einsum("j,jik->ik", shares, one)
    else:
        predicted = np.diag(q) - np.outer(q, q)
    rates = np.einsum("j,jik->ik", shares**2 / behind, one)
    return np.asarray(predicted / total + rates, dtype=np.float64)


def _checked(error_rates: ErrorRates, counts: Floats) -> tuple[Floats, Floats]:
    """Return the rates and the items behind them, of the right shape and range."""
    c, behind = matrix(error_rates.rates, "rates"), np.asarray(error_rates.n, dtype=np.float64)
    same_length(predicted_counts=counts, rates=c, columns_of_rates=c.T, n=behind)
    if c.min() < 0 or not np.allclose(c.sum(axis=0), 1):
        raise ValueError(
            "rates must not be below 0 and each column must add to 1: rows are predictions, "
            "columns the truth"
        )
    if not (behind >= 2).all():
        raise ValueError(
            f"n goes down to {behind.min()}: rates rest on at least 2 items for each category"
        )
    return c, behind


def _inverse(c: Floats, names: tuple[str, ...]) -> tuple[Floats, float]:
    """Return the inverse of the rates and by how much it multiplies errors."""
    least = np.linalg.svd(c)[1].min()
    inverse = np.full_like(c, np.inf)
    if least > 1e-9:
        inverse[:] = np.linalg.inv(c)
    multiplier = float(np.abs(inverse).sum(axis=0).max())
    if multiplier > 1 / LEAST_SEPARATION:
        left = np.linalg.svd(c)[2][-1]  # the mix of true categories that the rates see least
        hard = np.abs(left) > 0.5 * np.abs(left).max()
        raise ValueError(
            f"the rates hardly tell these apart: {listed(names, hard)}; errors would be multiplied "
            f"by {multiplier:.3g}, above {1 / LEAST_SEPARATION:g}. Join these categories, or "
            "verify some of these items instead (post_stratified_counts)"
        )
    return inverse, multiplier


def _nearest_shares(c: Floats, q: Floats) -> Floats:
    """Return the shares, not below 0 and adding to 1, whose predictions are nearest to q."""
    rows = np.vstack([c, np.full(q.size, _SUM_WEIGHT)])
    shares = np.asarray(nnls(rows, np.append(q, _SUM_WEIGHT))[0], dtype=np.float64)
    return np.asarray(shares / shares.sum(), dtype=np.float64)


def _caveats(
    names: tuple[str, ...], raw: Floats, outside: np.ndarray, multiplier: float
) -> tuple[Caveat, ...]:
    found = []
    if outside.any():
        told = ", ".join(f"{names[i]} {raw[i]:.3g}" for i in np.flatnonzero(outside))
        found.append(
            Caveat(
                "contradiction",
                f"The equations give shares outside 0 to 1 ({told}): the rates do not quite hold "
                "for these items, or there are few of them. The nearest possible shares are shown.",
            )
        )
    if multiplier > 1 / POOR_SEPARATION:
        found.append(
            Caveat(
                "poor_separation",
                f"Errors of the predicted shares and rates are multiplied by up to {multiplier:.3g}"
                ": some categories are hardly told apart.",
            )
        )
    return tuple(found)
