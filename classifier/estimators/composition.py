"""Shares of many sorts at once, with the bounds that scale resolution sets.

The same arithmetic as `classifier.report.shares`, which works on exact decimals for the report of
one sort and may import nothing but the standard library; a test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats


@dataclass(frozen=True, slots=True, eq=False)
class BoundedShares:
    """Shares of each category with certain bounds; arrays of shape (..., n_categories)."""

    value: Floats
    low: Floats
    high: Floats


def shares_with_bounds(values: ArrayLike, lows: ArrayLike, highs: ArrayLike) -> BoundedShares:
    """Return the share of each category in its sort, whatever the masses within their bounds.

    Parameters
    ----------
    values : array-like of shape (..., n_categories)
        Measured masses, not below 0; each sort has a total above 0. Any one unit.
    lows, highs : array-like of shape (..., n_categories)
        Bounds of each mass, 0 <= low <= value <= high.

    Returns
    -------
    BoundedShares
        Fractions from 0 to 1; values add to 1 along the last axis, bounds do not.

    Raises
    ------
    ValueError
        If shapes differ, bounds don't enclose the value, or a sort has no mass.

    Assumptions
    -----------
    Masses may lie anywhere within their bounds, independently of each other. The bounds hold for
    certain; they are no confidence interval and say nothing about another sort.

    Notes
    -----
    x_i / (x_i + rest) grows with x_i and falls with the rest, so its extremes are at low x_i with
    high rest and the reverse: the bounds are sharp.

    References
    ----------
    Own derivation by monotonicity; the rounding error of a reading as in JCGM 100:2008 (GUM),
    section F.2.2.1.

    Examples
    --------
    >>> s = shares_with_bounds([1.0, 3.0], [0.9, 2.9], [1.1, 3.1])
    >>> s.value.tolist(), [round(float(x), 4) for x in s.low]
    ([0.25, 0.75], [0.225, 0.725])
    """
    value, low, high = (np.asarray(each, dtype=np.float64) for each in (values, lows, highs))
    if not value.shape == low.shape == high.shape or value.ndim == 0:
        raise ValueError(
            f"shapes differ or are empty: values {value.shape}, lows {low.shape}, "
            f"highs {high.shape}; give one of each for each category"
        )
    if not ((low >= 0) & (low <= value) & (value <= high) & np.isfinite(high)).all():
        raise ValueError("bounds must hold 0 <= low <= value <= high for each category")
    totals = value.sum(axis=-1, keepdims=True)
    if not (totals > 0).all():
        raise ValueError("a sort has no measured mass: leave it out")
    return BoundedShares(
        value=value / totals,
        low=_fraction(low, high.sum(axis=-1, keepdims=True) - high),
        high=_fraction(high, low.sum(axis=-1, keepdims=True) - low),
    )


def _fraction(part: Floats, rest: Floats) -> Floats:
    """Return part / (part + rest), 0 for nothing of nothing."""
    # Rounding can leave a rest of -1e-17 where it is exactly 0.
    whole = part + np.maximum(rest, 0.0)
    return np.divide(part, whole, out=np.zeros_like(part), where=whole > 0)
