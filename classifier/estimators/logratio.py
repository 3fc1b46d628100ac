"""Log-ratio coordinates of shares and their inverses, for arrays of any number of sorts."""

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
    array = _coordinates(coordinates, 2)
    return closed(np.exp(array - array.max(axis=-1, keepdims=True)))


def ilr(parts: ArrayLike) -> Floats:
    """Return isometric log-ratios: coordinates in an orthonormal basis.

    Parameters
    ----------
    parts : array-like of shape (..., n_categories)
        Above 0: replace zeros first.

    Returns
    -------
    ndarray of shape (..., n_categories - 1)
        The i-th sets the first i categories against the next.

    Raises
    ------
    ValueError
        If a part is 0 or not allowed.

    Notes
    -----
    z_i = sqrt(i / (i + 1)) ln(g(x_1 ... x_i) / x_(i+1)), g the geometric mean.

    References
    ----------
    J. J. Egozcue et al., Mathematical Geology 35 (2003) 279-300.

    Examples
    --------
    >>> ilr([0.1, 0.3, 0.4, 0.2]).round(4).tolist()
    [-0.7768, -0.6834, 0.117]
    """
    centred = clr(parts)
    return np.asarray(centred @ _basis(centred.shape[-1]).T)


def ilr_inverse(coordinates: ArrayLike) -> Floats:
    """Return the fractions whose isometric log-ratios are given.

    Raises
    ------
    ValueError
        If there is no coordinate or one is not finite.

    Examples
    --------
    >>> ilr_inverse([0.0]).tolist()
    [0.5, 0.5]
    """
    array = _coordinates(coordinates, 1)
    return clr_inverse(array @ _basis(array.shape[-1] + 1))


def alr(parts: ArrayLike, *, reference: int = 0) -> Floats:
    """Return additive log-ratios: ln(x_i / x_reference) of all other categories.

    Parameters
    ----------
    parts : array-like of shape (..., n_categories)
        Above 0: replace zeros first.
    reference : int
        Position of the category that all others are set against, from 0.

    Returns
    -------
    ndarray of shape (..., n_categories - 1)

    Raises
    ------
    ValueError
        If a part is 0 or not allowed, or there is no such category.

    References
    ----------
    J. Aitchison, The Statistical Analysis of Compositional Data (1986), section 4.4.

    Examples
    --------
    >>> alr([0.1, 0.3, 0.4, 0.2]).round(4).tolist()
    [1.0986, 1.3863, 0.6931]
    """
    logs = _logs(parts)
    if not 0 <= reference < logs.shape[-1]:
        raise ValueError(f"reference {reference} must be from 0 to {logs.shape[-1] - 1}")
    ratios = logs - logs[..., reference, None]
    return np.asarray(np.delete(ratios, reference, axis=-1))


def alr_inverse(coordinates: ArrayLike, *, reference: int = 0) -> Floats:
    """Return the fractions whose additive log-ratios are given.

    Raises
    ------
    ValueError
        If there is no coordinate, one is not finite, or there is no such category.

    Examples
    --------
    >>> alr_inverse([0.0, 0.0], reference=1).round(4).tolist()
    [0.3333, 0.3333, 0.3333]
    """
    array = _coordinates(coordinates, 1)
    if not 0 <= reference <= array.shape[-1]:
        raise ValueError(f"reference {reference} must be from 0 to {array.shape[-1]}")
    return clr_inverse(np.insert(array, reference, 0.0, axis=-1))


def _logs(parts: ArrayLike) -> Floats:
    fractions = closed(parts)
    if not (fractions > 0).all():
        raise ValueError("a part is 0 and has no logarithm: replace zeros first (logratio_summary)")
    return np.log(fractions)


def _coordinates(coordinates: ArrayLike, least: int) -> Floats:
    array = np.asarray(coordinates, dtype=np.float64)
    if array.ndim == 0 or array.shape[-1] < least or not np.isfinite(array).all():
        raise ValueError(f"coordinates must be finite, {least} or more; got shape {array.shape}")
    return array


def _basis(categories: int) -> Floats:
    """Return orthonormal rows, (K - 1, K), each orthogonal to a constant."""
    rows = np.zeros((categories - 1, categories))
    for i in range(1, categories):
        rows[i - 1, :i] = 1 / i
        rows[i - 1, i] = -1
        rows[i - 1] *= np.sqrt(i / (i + 1))
    return rows
