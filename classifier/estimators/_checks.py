"""Checks of array arguments: what was given, what is allowed, what to do."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def vector(values: ArrayLike, name: str) -> Floats:
    """Return a finite vector with at least one entry.

    Raises
    ------
    ValueError
        If it has another number of axes, no entry, or an entry that is not finite.
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1 or array.size == 0:
        raise ValueError(f"{name} has shape {array.shape}: give a vector with at least one entry")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} holds values that are not finite: leave those entries out")
    return array


def matrix(values: ArrayLike, name: str) -> Floats:
    """Return a finite matrix with at least one row and two columns.

    Raises
    ------
    ValueError
        If it has another shape or an entry that is not finite.
    """
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 2 or array.shape[0] == 0 or array.shape[1] < 2:
        raise ValueError(
            f"{name} has shape {array.shape}: give a matrix with one row or more and two columns "
            "or more"
        )
    if not np.isfinite(array).all():
        raise ValueError(f"{name} holds values that are not finite: leave those rows out")
    return array


def same_length(**arrays: NDArray[np.generic]) -> int:
    """Return the common first length of the arrays.

    Raises
    ------
    ValueError
        If they differ.
    """
    lengths = {name: int(array.shape[0]) for name, array in arrays.items()}
    if len(set(lengths.values())) > 1:
        raise ValueError(f"lengths differ: {lengths}; give one entry for each observation")
    return next(iter(lengths.values()))


def flags(values: ArrayLike, name: str) -> Flags:
    """Return a vector of true and false, from booleans or zeros and ones.

    Raises
    ------
    ValueError
        If an entry is neither.
    """
    array = vector(values, name)
    if not np.isin(array, (0.0, 1.0)).all():
        raise ValueError(f"{name} holds other values than 0 and 1: give true or false")
    return array.astype(np.bool_)


def probabilities(values: ArrayLike, name: str) -> Floats:
    """Return a vector of values from 0 to 1.

    Raises
    ------
    ValueError
        If an entry lies outside.
    """
    array = vector(values, name)
    if array.min() < 0 or array.max() > 1:
        raise ValueError(
            f"{name} ranges from {array.min()} to {array.max()}: give probabilities from 0 to 1"
        )
    return array


def level_of(level: float) -> float:
    """Return a confidence level strictly between 0 and 1.

    Raises
    ------
    ValueError
        If it lies outside, such as 90 for 0.90.
    """
    if not 0 < level < 1:
        raise ValueError(f"level {level} is not between 0 and 1: write 0.90 for 90 %")
    return level


def whole_from(value: int, least: int, name: str) -> int:
    """Return a whole number that is at least `least`.

    Raises
    ------
    ValueError
        If it is smaller.
    """
    if value < least:
        raise ValueError(f"{name} {value} is too small: give at least {least}")
    return value


def counted_masses(grams: ArrayLike, counts: ArrayLike) -> tuple[Floats, Floats]:
    """Return grams above 0 and counts from 1, one of each for every batch.

    Raises
    ------
    ValueError
        If lengths differ, or a weight or count is smaller.
    """
    mass, number = vector(grams, "grams"), vector(counts, "counts")
    same_length(grams=mass, counts=number)
    if mass.min() <= 0 or number.min() < 1:
        raise ValueError(
            f"weights go down to {mass.min()} g and counts to {number.min()}: weights must be "
            "above 0 and counts at least 1"
        )
    return mass, number
