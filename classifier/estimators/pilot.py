"""What a pilot shows of its own spread, and the precision that a number of samples buys."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from classifier.estimators._checks import Floats, level_of, vector, whole_from
from classifier.estimators.planning import Basis, basis_of, spread_of


def pilot_sd_error(n: int) -> float:
    """Return the relative standard error of a standard deviation from n samples.

    The number of samples goes with its square, and so errs by twice as much.

    Parameters
    ----------
    n : int
        Number of pilot samples, at least 2.

    Raises
    ------
    ValueError
        If n is below 2.

    Assumptions
    -----------
    Near to normally distributed shares; lumpy categories err more.

    Notes
    -----
    1 / sqrt(2 (n - 1)), the large-sample form.

    References
    ----------
    W. G. Cochran, Sampling Techniques, 3rd ed. (1977), equation 2.64 with kurtosis 0 (code D).

    Examples
    --------
    >>> round(pilot_sd_error(9), 3)
    0.25
    """
    return 1 / math.sqrt(2 * (whole_from(n, 2, "number of samples") - 1))


def precision_curve(
    means: ArrayLike,
    sds: ArrayLike,
    samples: ArrayLike,
    *,
    basis: Basis = "relative",
    level: float = 0.90,
) -> Floats:
    """Return the half-width of the interval for each number of samples and category.

    Parameters
    ----------
    means, sds : array-like of shape (n_categories,)
        As for `samples_needed`; means above 0 with basis "relative".
    samples : array-like of int, shape (n_numbers,)
        Numbers of samples, at least 2 each.
    basis, level
        As for `samples_needed`.

    Returns
    -------
    ndarray of shape (n_numbers, n_categories)
        t s / sqrt(n), over the mean with basis "relative".

    Raises
    ------
    ValueError
        If an argument is not allowed.

    Assumptions
    -----------
    As for `samples_needed`.

    Examples
    --------
    >>> precision_curve([0.14], [0.06], [51, 52]).round(4).tolist()
    [[0.1006], [0.0996]]
    """
    mean, sd = spread_of(means, sds)
    n = vector(samples, "samples")
    if n.min() < 2:
        raise ValueError(f"samples go down to {n.min()}: give at least 2 each")
    if basis_of(basis) == "relative":
        if mean.min() <= 0:
            raise ValueError("a mean is 0: leave the category out, or use basis 'absolute'")
        sd = sd / mean
    quantile = stdtrit(n - 1, 0.5 + level_of(level) / 2)
    return np.asarray((quantile / np.sqrt(n))[:, None] * sd)
