"""Ratios of sums for many categories and many resamplings at once.

The mean of sample shares is the ratio of sums with every denominator 1, so that one formula serves
both estimators, the bootstrap and the permutation test.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats

Estimator = Literal["mean of sample shares", "ratio of sums"]
# Sums of squares are differences of large numbers; below this part of them they are rounding error.
_ROUNDING = 1e-12
# Draws handled at once: bounds the memory at about 250 numbers a sort.
CHUNK = 250


def sorts_matrix(grams: ArrayLike, name: str = "grams") -> Floats:
    """Return masses of shape (n_sorts, n_categories), with two sorts or more.

    Raises
    ------
    ValueError
        If the shape is another, an entry is below 0 or not finite, or a sort has no mass.
    """
    array = np.asarray(grams, dtype=np.float64)
    if array.ndim != 2 or array.shape[0] < 2 or array.shape[1] < 1:
        raise ValueError(
            f"{name} has shape {array.shape}: give two sorts (rows) or more, with one column a "
            "category"
        )
    if not (np.isfinite(array) & (array >= 0)).all():
        raise ValueError(f"{name} holds values below 0 or not finite: give masses, 0 for absent")
    if not (array.sum(axis=1) > 0).all():
        raise ValueError(f"{name} holds a sort without any mass: leave it out")
    return array


def parts_of(grams: Floats, estimator: str) -> tuple[Floats, Floats]:
    """Return numerators (n, K) and denominators (n,) whose ratio of sums is the estimator.

    Raises
    ------
    ValueError
        If the estimator is not known.
    """
    totals = grams.sum(axis=1)
    if estimator == "mean of sample shares":
        return grams / totals[:, None], np.ones_like(totals)
    if estimator == "ratio of sums":
        return grams, totals
    raise ValueError(
        f"estimator {estimator!r} is not known: give one of {', '.join(get_args(Estimator))}"
    )


def ratio_moments(top: Floats, bottom: Floats) -> tuple[Floats, Floats]:
    """Return ratio of sums and its sampling variance, (K,) each; Cochran 1977, section 2.11."""
    n = top.shape[0]
    ratio = top.sum(axis=0) / bottom.sum()
    residuals = top - ratio * bottom[:, None]  # (n, K)
    variance = (residuals**2).sum(axis=0) / (n - 1) / n / bottom.mean() ** 2
    return ratio, variance


def drawn_ratios(top: Floats, bottom: Floats, times: Floats) -> Floats:
    """Return the ratios of resamplings, (B, K); `times` (B, n) says how often each sort counts."""
    ratios: Floats = (times @ top) / (times @ bottom)[:, None]
    return ratios


def drawn_moments(top: Floats, bottom: Floats, times: Floats) -> tuple[Floats, Floats]:
    """Return ratios and variances of selections of equal size, (B, K) each."""
    size = times[0].sum()
    sums = (times @ bottom)[:, None]  # (B, 1)
    ratio = (times @ top) / sums
    squares = times @ top**2
    residual = squares - 2 * ratio * (times @ (top * bottom[:, None]))
    residual += ratio**2 * (times @ bottom**2)[:, None]
    residual[residual <= _ROUNDING * squares] = 0.0
    return ratio, size / (size - 1) * residual / sums**2


def satterthwaite(terms: Sequence[Floats], dfs: Sequence[Floats]) -> Floats:
    """Return effective degrees of freedom; where nothing varies, those of all terms together.

    (sum a_h)^2 / sum(a_h^2 / df_h) with a_h the terms of a variance; F. E. Satterthwaite,
    Biometrics Bulletin 2 (1946) 110-114.
    """
    total = np.sum(terms, axis=0)
    # Relative parts: squares of tiny variances would underflow.
    safe = np.where(total > 0, total, 1.0)
    squares = np.sum([(term / safe) ** 2 / df for term, df in zip(terms, dfs, strict=True)], axis=0)
    every: Floats = np.sum(dfs, axis=0)
    # Squares are 0 also where the only variance has infinitely many degrees of freedom.
    df: Floats = np.where(total > 0, np.inf, every)
    np.divide(1.0, squares, out=df, where=squares > 0)
    return df
