"""How many sorting samples a study needs, for every category at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from classifier.estimators._checks import Floats, level_of, same_length, vector

Basis = Literal["relative", "absolute"]
_MOST = 10**9
_PASSES, _AGREE = 20, 0.10


@dataclass(frozen=True, slots=True)
class CategoryPlan:
    """What one category asks for.

    Parameters
    ----------
    name : str
        Category.
    mean, sd : float
        Mean and standard deviation between samples of its mass fraction.
    passes : tuple of float
        Number by the normal quantile, then by the t of the number before, unrounded.
    settled : bool
        Whether two passes agreed; if not, `samples` was found by halving.
    samples : int
        Number of samples needed, at least 2.
    """

    name: str
    mean: float
    sd: float
    passes: tuple[float, ...]
    settled: bool
    samples: int


@dataclass(frozen=True, slots=True)
class SamplePlan:
    """How many samples a study needs.

    Parameters
    ----------
    categories : tuple of CategoryPlan
        In the order given.
    left_out : tuple of str
        Categories with mean 0, of which a relative precision has no meaning.
    precision : float
        Half-width of the interval wanted: part of the mean, or fraction of the sample.
    basis : {"relative", "absolute"}
        Which of the two.
    level : float
        Confidence level.
    """

    categories: tuple[CategoryPlan, ...]
    left_out: tuple[str, ...]
    precision: float
    basis: Basis
    level: float

    @property
    def deciding(self) -> CategoryPlan:
        """The category that asks for most samples, the first of several."""
        return max(self.categories, key=lambda each: each.samples)

    @property
    def samples(self) -> int:
        """The number of samples with which every category is precise enough."""
        return self.deciding.samples


def samples_needed(
    means: ArrayLike,
    sds: ArrayLike,
    names: Sequence[str],
    *,
    precision: float = 0.10,
    basis: Basis = "relative",
    level: float = 0.90,
) -> SamplePlan:
    """Work out how many samples each category needs, and which one decides.

    Parameters
    ----------
    means, sds : array-like of shape (n_categories,)
        Mean mass fraction and its standard deviation between samples, not below 0.
    names : sequence of str
        Name of each category.
    precision : float
        Wanted half-width of the interval, above 0: 0.10 is a tenth of the mean with basis
        "relative", ten percentage points with basis "absolute".
    basis : {"relative", "absolute"}
        What the precision is a part of: each category's mean, as in the standard, or the whole
        sample. A relative one asks for very many samples of light and lumpy categories.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    SamplePlan
        Numbers are rounded up and at least 2.

    Raises
    ------
    ValueError
        If an argument is not allowed, no category has a mean above 0, or a number goes beyond 10^9.

    Assumptions
    -----------
    Samples are independent and random, of the mass that the standard deviations belong to (91 to
    136 kg in ASTM D5231): smaller samples vary more. The mean is near to normally distributed.

    Notes
    -----
    n = (t s / (e x))^2 with Student's t at n - 1 degrees of freedom, which itself depends on n. The
    standard begins with the normal quantile and repeats with the t of the last n, rounded, until
    two passes differ by at most 10 %; the larger is taken, and rounded up. Done literally that can
    go back and forth for ever (mixed paper, 90 %, e = 0.20: 5, 6, 5, ...). After 20 passes the
    number is found by halving instead: the smallest n that is at least (t s / (e x))^2 by its own
    t. The number of the standard is never smaller than that, and at most one larger (tried for 3000
    spreads).

    References
    ----------
    ASTM D5231-92, section on the number of samples (DOMAIN.md 1.1, code C): corrugated 50, then 52.

    Examples
    --------
    >>> plan = samples_needed([0.14, 0.10], [0.06, 0.03], ["corrugated", "food"])
    >>> plan.samples, plan.deciding.name, [round(each, 2) for each in plan.deciding.passes]
    (52, 'corrugated', [49.69, 51.63])
    """
    mean, sd = spread_of(means, sds)
    same_length(means=mean, names=np.asarray(names, dtype=object))
    q = 0.5 + level_of(level) / 2
    if not 0 < precision < math.inf:
        raise ValueError(f"precision {precision} must be above 0: write 0.10 for 10 %")
    basis_of(basis)
    lines = tuple(
        _category(name, float(x), float(s), precision * (float(x) if basis == "relative" else 1), q)
        for name, x, s in zip(names, mean, sd, strict=True)
        if x > 0
    )
    if not lines:
        raise ValueError("no category has a mean above 0: give at least one that was found")
    left_out = tuple(name for name, x in zip(names, mean, strict=True) if not x > 0)
    return SamplePlan(lines, left_out, precision, basis, level)


def spread_of(means: ArrayLike, sds: ArrayLike) -> tuple[Floats, Floats]:
    """Return means and standard deviations as vectors of one length.

    Raises
    ------
    ValueError
        If lengths differ or an entry is below 0.
    """
    mean, sd = vector(means, "means"), vector(sds, "sds")
    same_length(means=mean, sds=sd)
    if mean.min() < 0 or sd.min() < 0:
        raise ValueError("means and standard deviations must not be below 0")
    return mean, sd


def basis_of(basis: str) -> str:
    """Return the basis of a precision.

    Raises
    ------
    ValueError
        If it is not known.
    """
    if basis not in ("relative", "absolute"):
        raise ValueError(f'basis {basis!r} is not known: give "relative" or "absolute"')
    return basis


def _category(
    name: str, mean: float, sd: float, half_width: float, quantile: float
) -> CategoryPlan:
    ratio = (sd / half_width) ** 2
    passes = [ratio * float(ndtri(quantile)) ** 2]
    if passes[0] > _MOST:
        raise ValueError(
            f"{name} needs more than {_MOST} samples: ask for less precision, or leave it out"
        )
    while len(passes) < _PASSES:
        n = max(2, math.floor(passes[-1] + 0.5))
        passes.append(_pass(ratio, quantile, n))
        # No study has fewer than two samples, so 2 agrees with anything below.
        if abs(max(2, passes[-1]) - n) <= _AGREE * n:
            samples = _rounded_up(max(n, passes[-1]))
            return CategoryPlan(name, mean, sd, tuple(passes), True, samples)
    return CategoryPlan(name, mean, sd, tuple(passes), False, _smallest(ratio, quantile, passes[0]))


def _pass(ratio: float, quantile: float, n: int) -> float:
    """Return the number of samples by the t of n samples."""
    return ratio * float(stdtrit(n - 1, quantile)) ** 2


def _smallest(ratio: float, quantile: float, start: float) -> int:
    """Return the smallest n that is enough by its own t, which always exists."""
    # Too few, and enough: t is above the normal quantile, and falls as n grows.
    first = _rounded_up(start)
    low, high = first - 1, _rounded_up(_pass(ratio, quantile, first))
    while high - low > 1:
        middle = (low + high) // 2
        if _rounded_up(_pass(ratio, quantile, middle)) <= middle:
            high = middle
        else:
            low = middle
    return high


def _rounded_up(number: float) -> int:
    # Rounding error must not turn 52.000000000001 into 53.
    return max(2, math.ceil(number * (1 - 1e-12)))
