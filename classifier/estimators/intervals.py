"""Intervals for a proportion and for anything computed from grouped observations."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from classifier.estimators._checks import Floats, level_of, same_length, vector, whole_from
from classifier.estimators.result import Estimate

Statistic = Callable[[NDArray[np.intp]], float]


def wilson(successes: int, n: int, *, level: float = 0.95) -> Estimate:
    """Estimate a proportion with Wilson's score interval.

    Unlike the textbook (Wald) interval it stays within 0 to 1 and is sensible at 0 of n and n of n.

    Parameters
    ----------
    successes : int
        Number of successes, 0 to `n`.
    n : int
        Number of independent trials, at least 1.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Estimate
        The proportion, unit "1", within 0 to 1.

    Raises
    ------
    ValueError
        If n is below 1, successes lie outside 0 to n, or the level lies outside 0 to 1.

    Assumptions
    -----------
    Independent trials with one common probability. Photographs of one object, or of one household,
    are not independent: use `group_bootstrap` for those.

    References
    ----------
    E. B. Wilson, J. Amer. Statist. Assoc. 22 (1927) 209-212. R. G. Newcombe, Statistics in Medicine
    17 (1998) 857-872, method 3.

    Examples
    --------
    >>> e = wilson(81, 263)
    >>> round(e.low, 4), round(e.high, 4)
    (0.2553, 0.3662)
    """
    whole_from(n, 1, "n")
    if not 0 <= successes <= n:
        raise ValueError(f"successes {successes} are not within 0 to n = {n}")
    z = float(scipy.special.ndtri(0.5 + level_of(level) / 2))
    p = successes / n
    centre = p + z**2 / (2 * n)
    half = z * math.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
    whole = 1 + z**2 / n
    # At 0 of n and n of n one end is exactly 0 or 1; rounding error must not push it across.
    low = 0.0 if successes == 0 else (centre - half) / whole
    high = 1.0 if successes == n else (centre + half) / whole
    return Estimate(p, low, high, level, "1", "proportion, Wilson score interval", n, _TRIALS)


_TRIALS = ("trials are independent with one common probability",)


def group_bootstrap(
    groups: ArrayLike,
    statistic: Statistic,
    *,
    level: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
    unit: str = "1",
) -> Estimate:
    """Estimate any statistic with a percentile interval from resampling whole groups.

    Observations of one group (pictures of one object, items of one household) stay together, since
    they resemble each other; resampling them one by one would give too narrow an interval.

    Parameters
    ----------
    groups : array-like of shape (n_observations,)
        Label of the group of each observation; at least two different ones.
    statistic : callable
        Takes the indices of the observations of one draw, an integer array (with repeats), and
        returns a finite number.
    level : float
        Confidence level, between 0 and 1.
    draws : int
        Number of bootstrap draws, at least 100.
    seed : int
        Seed of the generator: the same input gives the same interval.
    unit : str
        Unit of the statistic.

    Returns
    -------
    Estimate
        The statistic of all observations, with n the number of groups.

    Raises
    ------
    ValueError
        If there are fewer than two groups or 100 draws, the level lies outside 0 to 1, or the
        statistic of a draw is not a number.

    Assumptions
    -----------
    Groups are a random sample of the groups meant. With few groups (below about 20) percentile
    intervals are too narrow.

    References
    ----------
    A. C. Davison, D. V. Hinkley, Bootstrap Methods and their Application (1997), sections 3.8
    (hierarchical data) and 5.3.1 (percentile method).

    Examples
    --------
    >>> right = np.array([1, 1, 0, 1, 1, 0, 0, 1])
    >>> e = group_bootstrap(list("aabbccdd"), lambda i: float(right[i].mean()))
    >>> e.value, e.n
    (0.625, 4)
    """
    level_of(level)
    whole_from(draws, 100, "draws")
    names, member = np.unique(np.asarray(groups), return_inverse=True)
    whole_from(names.size, 2, "number of groups")
    order = np.argsort(member, kind="stable")
    members = np.split(order, np.cumsum(np.bincount(member))[:-1])
    generator = np.random.default_rng(seed)
    drawn = np.array(
        [
            statistic(np.concatenate([members[g] for g in picked]))
            for picked in generator.integers(0, names.size, size=(draws, names.size))
        ]
    )
    return _percentile(statistic(order), drawn, level, unit, names.size)


def group_bootstrap_ratio(
    numerators: ArrayLike,
    groups: ArrayLike,
    *,
    denominators: ArrayLike | None = None,
    level: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
    unit: str = "1",
) -> Estimate:
    """Estimate a ratio of sums, such as accuracy, by resampling whole groups.

    The same interval as `group_bootstrap` gives for sum(numerators) / sum(denominators), but from
    the sums by group, so that it takes milliseconds at any number of observations.

    Parameters
    ----------
    numerators : array-like of shape (n_observations,)
        For accuracy: 1 where right, 0 where wrong.
    groups : array-like of shape (n_observations,)
        Label of the group of each observation; at least two different ones.
    denominators : array-like of shape (n_observations,), optional
        Above 0; ones if left out, so that the ratio is a mean.
    level, draws, seed, unit
        As for `group_bootstrap`.

    Returns
    -------
    Estimate
        The ratio over all observations, with n the number of groups.

    Raises
    ------
    ValueError
        As for `group_bootstrap`, and if lengths differ or a denominator is not above 0.

    Assumptions
    -----------
    As for `group_bootstrap`.

    References
    ----------
    As for `group_bootstrap`.

    Examples
    --------
    >>> e = group_bootstrap_ratio([1, 1, 0, 1, 1, 0, 0, 1], list("aabbccdd"))
    >>> e.value, e.n
    (0.625, 4)
    """
    level_of(level)
    whole_from(draws, 100, "draws")
    top = vector(numerators, "numerators")
    bottom = np.ones_like(top) if denominators is None else vector(denominators, "denominators")
    names, member = np.unique(np.asarray(groups), return_inverse=True)
    same_length(numerators=top, denominators=bottom, groups=member)
    if bottom.min() <= 0:
        raise ValueError(f"denominators go down to {bottom.min()}: each must be above 0")
    n_groups = whole_from(names.size, 2, "number of groups")
    sums = np.stack([np.bincount(member, top), np.bincount(member, bottom)])  # (2, G)
    generator = np.random.default_rng(seed)
    times = generator.multinomial(n_groups, np.full(n_groups, 1 / n_groups), size=draws)  # (B, G)
    drawn_top, drawn_bottom = sums @ times.T  # (B,) each
    value = float(top.sum() / bottom.sum())
    return _percentile(value, drawn_top / drawn_bottom, level, unit, n_groups)


def _percentile(value: float, drawn: Floats, level: float, unit: str, n_groups: int) -> Estimate:
    """Return the percentile interval of the drawn statistics."""
    if not np.isfinite(drawn).all():
        raise ValueError(
            "the statistic of a bootstrap draw is not a finite number: give one that is defined "
            "for any selection of groups"
        )
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2])
    return Estimate(
        value=value,
        low=float(low),
        high=float(high),
        level=level,
        unit=unit,
        method="group bootstrap, percentile interval",
        n=n_groups,
        assumptions=(
            "groups are a random sample of the groups meant",
            "too narrow with fewer than about 20 groups",
        ),
    )
