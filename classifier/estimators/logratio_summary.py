"""Log-ratio (Aitchison) summary: what adds to 1 has no ordinary means and correlations.

Zeros have no logarithm. They must be replaced first, the replacement is a choice, and the summary
says which one was made and how much it matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from classifier.estimators._checks import Floats
from classifier.estimators._moments import sorts_matrix
from classifier.estimators.logratio import closed, clr, clr_inverse


@dataclass(frozen=True, slots=True, eq=False)
class LogRatioSummary:
    """Aitchison summary of a study; arrays by category unless said otherwise.

    Parameters
    ----------
    centre : ndarray of shape (n_categories,)
        Closed geometric mean: fractions that add to 1.
    clr_sd : ndarray of shape (n_categories,)
        Standard deviation of the centred log-ratio.
    variation : ndarray of shape (n_categories, n_categories)
        Variance of ln(x_i / x_j): near 0 for two categories that keep their proportion.
    total_variance : float
        Sum of the variances of all centred log-ratios.
    zeros : ndarray of int, shape (n_categories,)
        How many sorts had none of the category, so that a replacement stands there.
    replacement : float
        Fraction that was put in the place of a zero.
    sensitivity : ndarray of shape (n_categories,)
        Centre with half that replacement over centre: 1 where the choice does not matter.
    n : int
        Number of sorts.
    assumptions : tuple of str
        What must hold, the zero handling among it.
    """

    centre: Floats
    clr_sd: Floats
    variation: Floats
    total_variance: float
    zeros: NDArray[np.int64]
    replacement: float
    sensitivity: Floats
    n: int
    assumptions: tuple[str, ...]


def replace_zeros(parts: ArrayLike, *, replacement: float | None = None) -> Floats:
    """Put a small fraction in the place of zeros and shrink the rest in proportion.

    Parameters
    ----------
    parts : array-like of shape (..., n_categories)
        As for `closed`.
    replacement : float, optional
        Fraction for each zero, above 0 and so small that all of a sort's zeros together stay below
        1; 1 / n_categories^2 if left out. A fraction just below what the scale can show in a sort
        is better founded.

    Returns
    -------
    ndarray of the same shape
        Fractions above 0 that add to 1; ratios between categories that were found are unchanged.

    Raises
    ------
    ValueError
        If parts or replacement are not allowed.

    Assumptions
    -----------
    Zeros are small amounts that the sort missed, not categories that can't occur.

    Notes
    -----
    x_i becomes d where x_i = 0, else x_i (1 - d z), z the number of zeros of the sort.

    References
    ----------
    J. A. Martín-Fernández, C. Barceló-Vidal, V. Pawlowsky-Glahn, Mathematical Geology 35 (2003)
    253-278. The default is that of scikit-bio's multi_replace (DOMAIN.md 1.6, code A).

    Examples
    --------
    >>> replace_zeros([0.2, 0.4, 0.4, 0.0]).tolist()
    [0.1875, 0.375, 0.375, 0.0625]
    """
    fractions = closed(parts)
    d = 1 / fractions.shape[-1] ** 2 if replacement is None else replacement
    zero = fractions == 0
    filled = d * zero.sum(axis=-1, keepdims=True)
    if not (d > 0 and (filled < 1).all()):
        raise ValueError(
            f"replacement {d} must be above 0 and, times the zeros of a sort, below 1; "
            "give a smaller one"
        )
    return np.where(zero, d, fractions * (1 - filled))


def logratio_summary(grams: ArrayLike, *, replacement: float | None = None) -> LogRatioSummary:
    """Summarise a study by its Aitchison centre and the variances of its log-ratios.

    Parameters
    ----------
    grams : array-like of shape (n_sorts, n_categories)
        As for `shares_of_study`, two categories or more.
    replacement : float, optional
        As for `replace_zeros`.

    Returns
    -------
    LogRatioSummary
        The centre is no mean share and does not scale to tonnes: it describes the typical sort.

    Raises
    ------
    ValueError
        If an argument is not allowed.

    Assumptions
    -----------
    As for `replace_zeros`. Where many sorts lack a category its centre is mostly the replacement:
    look at `sensitivity`, and merge such categories into their group.

    References
    ----------
    J. Aitchison (1986), chapter 4; M. E. Edjabou, J. A. Martín-Fernández, C. Scheutz, T. F. Astrup,
    Waste Management 69 (2017) 13-23, for waste (DOMAIN.md 1.6, code B).

    Examples
    --------
    >>> logratio_summary([[1, 4], [4, 1]]).centre.tolist()
    [0.5, 0.5]
    """
    masses = sorts_matrix(grams)
    filled = replace_zeros(masses, replacement=replacement)
    n, categories = masses.shape
    used = 1 / categories**2 if replacement is None else replacement
    logs = clr(filled)  # (n, K)
    centre = clr_inverse(logs.mean(axis=0))
    other = clr_inverse(clr(replace_zeros(masses, replacement=used / 2)).mean(axis=0))
    covariance = np.cov(logs, rowvar=False)  # (K, K)
    spread = np.diag(covariance)
    zeros = (masses == 0).sum(axis=0)
    return LogRatioSummary(
        centre=centre,
        clr_sd=np.sqrt(spread),
        # Rounding must not leave a variance just below 0.
        variation=np.maximum(spread[:, None] + spread[None, :] - 2 * covariance, 0.0),
        total_variance=float(spread.sum()),
        zeros=zeros,
        replacement=used,
        sensitivity=other / centre,
        n=n,
        assumptions=(
            "sorts are independent and random",
            f"{int(zeros.sum())} of {masses.size} values are zeros, replaced by {used:.3g} of the "
            "sort (multiplicative replacement)",
        ),
    )
