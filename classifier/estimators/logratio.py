"""Centred log-ratios of shares and back, for arrays of any number of sorts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats


def closed(parts: ArrayLike) -> Floats:
    """Return parts divided by their sum along the last axis.

    Parameters
    ----------
    parts : array-like of shape (..., n_categories)
        Not below 0, two categories or more, with a sum above 0.

    Raises
    ------
    ValueError
        If the parts are not allowed.

    Examples
    --------
    >>> closed([1, 3]).tolist()
    [0.25, 0.75]
    """
    array = np.asarray(parts, dtype=np.float64)
    if array.ndim == 0 or array.shape[-1] < 2:
        raise ValueError(f"parts have shape {array.shape}: give two categories or more")
    if not (np.isfinite(array) & (array >= 0)).all():
        raise ValueError("parts hold values below 0 or not finite: give masses or fractions")
    totals = array.sum(axis=-1, keepdims=True)
    if not (totals > 0).all():
        raise ValueError("parts add to 0 in a sort: leave it out")
    return np.asarray(array / totals)


def clr(parts: ArrayLike) -> Floats:
    """Return centred log-ratios: ln x_i - mean(ln x).

    Parameters
    ----------
    parts : array-like of shape (..., n_categories)
        Above 0: replace zeros first.

    Returns
    -------
    ndarray of the same shape
        Adds to 0 along the last axis.

    Raises
    ------
    ValueError
        If a part is 0 or not allowed.

    References
    ----------
    J. Aitchison, The Statistical Analysis of Compositional Data (1986), section 4.6.

    Examples
    --------
    >>> clr([0.1, 0.3, 0.4, 0.2]).round(4).tolist()
    [-0.7945, 0.3041, 0.5918, -0.1014]
    """
    logs = _logs(parts)
    return np.asarray(logs - logs.mean(axis=-1, keepdims=True))


def clr_inverse(coordinates: ArrayLike) -> Floats:
    """Return the fractions whose centred log-ratios are given, up to a common constant.

    Raises
    ------
    ValueError
        If there are fewer than two coordinates or one is not finite.

    Examples
    --------
    >>> clr_inverse([0.0, 0.0]).tolist()
    [0.5, 0.5]
    """
    array = np.asarray(coordinates, dtype=np.float64)
    if array.ndim == 0 or array.shape[-1] < 2 or not np.isfinite(array).all():
        raise ValueError(f"coordinates must be finite, 2 or more; got shape {array.shape}")
    return closed(np.exp(array - array.max(axis=-1, keepdims=True)))


def _logs(parts: ArrayLike) -> Floats:
    fractions = closed(parts)
    if not (fractions > 0).all():
        raise ValueError("a part is 0 and has no logarithm: replace zeros first (logratio_summary)")
    return np.log(fractions)
