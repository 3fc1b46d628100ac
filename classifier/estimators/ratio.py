"""The ratio of sums over samples: shares of a composition and mean item weights."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from classifier.estimators._checks import level_of, same_length, vector, whole_from
from classifier.estimators.result import Estimate

Distribution = Literal["t", "normal"]


def ratio_of_sums(
    numerators: ArrayLike,
    denominators: ArrayLike,
    *,
    level: float = 0.90,
    distribution: Distribution = "t",
    unit: str = "1",
) -> Estimate:
    """Estimate a ratio as sum over sum, with its error between samples.

    Parameters
    ----------
    numerators : array-like of shape (n_samples,)
        Not below 0, such as grams of one category in each sample.
    denominators : array-like of shape (n_samples,)
        Above 0, such as grams of everything in each sample.
    level : float
        Confidence level, between 0 and 1.
    distribution : {"t", "normal"}
        Quantile used: Student's t with n - 1 degrees of freedom, or the normal one (1.645 at 90 %)
        that the source prints.
    unit : str
        Unit of numerator over denominator.

    Returns
    -------
    Estimate
        r = sum c / sum w, with r ± q sqrt(Var). The lower end may be below 0 and is not clipped:
        it then says that there are too few samples.

    Raises
    ------
    ValueError
        If there are fewer than two samples, lengths differ, a numerator is below 0, a denominator
        is not above 0, or level or distribution is not allowed.

    Assumptions
    -----------
    Independent random samples; the ratio's bias of order 1/n is neglected.

    Notes
    -----
    Var(r) = (1 / n) (1 / wbar^2) sum (c_i - r w_i)^2 / (n - 1), wbar the mean denominator. The mean
    of the samples' own ratios is another estimator with another value: say which one was used.

    References
    ----------
    W. G. Cochran, Sampling Techniques, 3rd ed. (1977), section 2.11 and chapter 6; formula and a
    worked case in the contamination method of San Mateo and Redwood City (DOMAIN.md 1.4, code A).

    Examples
    --------
    >>> round(ratio_of_sums([5, 3, 4], [80, 70, 90]).value, 4)
    0.05
    """
    level_of(level)
    top, bottom = vector(numerators, "numerators"), vector(denominators, "denominators")
    n = whole_from(same_length(numerators=top, denominators=bottom), 2, "number of samples")
    if top.min() < 0:
        raise ValueError(f"numerators go down to {top.min()}: none may be below 0")
    if bottom.min() <= 0:
        raise ValueError(f"denominators go down to {bottom.min()}: each must be above 0")
    ratio = top.sum() / bottom.sum()
    residuals = top - ratio * bottom
    variance = (residuals @ residuals) / (n - 1) / n / bottom.mean() ** 2
    half = _quantile(distribution, level, n) * np.sqrt(variance)
    return Estimate(
        value=float(ratio),
        low=float(ratio - half),
        high=float(ratio + half),
        level=level,
        unit=unit,
        method=f"ratio of sums, {distribution} interval",
        n=n,
        assumptions=("samples are independent and random", "bias of order 1/n is neglected"),
    )


def _quantile(distribution: str, level: float, n: int) -> float:
    if distribution == "t":
        return float(stdtrit(n - 1, 0.5 + level / 2))
    if distribution == "normal":
        return float(ndtri(0.5 + level / 2))
    raise ValueError(f'distribution {distribution!r} is not known: give "t" or "normal"')
