"""Bootstrap intervals of a study: whole sorts are drawn again within their stratum."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, level_of, same_length, whole_from
from classifier.estimators._moments import CHUNK, Estimator, drawn_ratios, parts_of, sorts_matrix
from classifier.estimators.result import Estimate
from classifier.estimators.sample_shares import shares_of_study
from classifier.estimators.strata import combine_strata, parts_of_whole

Interval = Literal["percentile", "bca"]
Progress = Callable[[int, int], None]


def bootstrap_study(
    strata: Sequence[ArrayLike],
    *,
    weights: ArrayLike | None = None,
    estimator: Estimator = "mean of sample shares",
    interval: Interval = "percentile",
    level: float = 0.90,
    draws: int = 2000,
    seed: int = 0,
    progress: Progress | None = None,
) -> tuple[Estimate, ...]:
    """Estimate the share of every category with bootstrap intervals by sort.

    Parameters
    ----------
    strata : sequence of array-like of shape (n_sorts, n_categories)
        Masses of each stratum as for `shares_of_study`; a single one for a study without strata.
    weights : array-like of shape (n_strata,), optional
        Size of each stratum as for `combine_strata`; needed with more than one stratum.
    estimator : {"mean of sample shares", "ratio of sums"}
        As for `shares_of_study`.
    interval : {"percentile", "bca"}
        Percentiles of the drawn shares, or those corrected for bias and skewness.
    level : float
        Confidence level, between 0 and 1.
    draws : int
        Number of draws, at least 100; 2000 leave an error of about 1 point in the coverage.
    seed : int
        Seed of the generator: the same input gives the same intervals.
    progress : callable, optional
        Called with draws done and draws in all.

    Returns
    -------
    tuple of Estimate
        One a category, within 0 to 1.

    Raises
    ------
    ValueError
        If an argument is not allowed or strata have different categories.

    Assumptions
    -----------
    Sorts are an independent random sample of their stratum; weights are known without error.

    Notes
    -----
    With few sorts the intervals are narrower than Student's: a resampled variance lacks the factor
    n / (n - 1), and normal quantiles take the place of t. Measured coverage of the 90 % interval of
    20 sorts, in per cent, over 2000 studies as in `shares_of_study`; it is nowhere much better than
    that of the t interval:

    ==============================  ==========  ==========  ==========  ==========
                                    mean, perc   mean, bca  sums, perc   sums, bca
    ==============================  ==========  ==========  ==========  ==========
    food (always, cv 0.4)                   87          88          86          83
    paper (always, cv 0.5)                  87          87          85          85
    film (always, cv 0.6)                   86          87          86          84
    glass (in 70 %, cv 1.5)                 81          82          80          80
    textiles (in 60 %, cv 1.7)              81          84          75          77
    cans (in 80 %, cv 1.2)                  83          83          82          82
    batteries (in 15 %, cv 4.2)             70          73          68          74
    electronics (in 10 %, cv 4.5)           64          67          55          62
    residual (always, cv 0.5)               86          86          84          81
    ==============================  ==========  ==========  ==========  ==========

    References
    ----------
    A. C. Davison, D. V. Hinkley, Bootstrap Methods and their Application (1997), sections 3.2
    (strata), 5.3.1 (percentiles) and 5.3.2 (BCa; acceleration from influence values). B. Efron,
    J. Amer. Statist. Assoc. 82 (1987) 171-185.

    Examples
    --------
    >>> grams = [[1, 3], [2, 2], [3, 9], [1, 4]]
    >>> e = bootstrap_study([grams], interval="bca")[0]
    >>> round(e.value, 4), 0.2 <= e.low < e.value < e.high <= 0.5
    (0.3, True)
    """
    if interval not in ("percentile", "bca"):
        raise ValueError(f'interval {interval!r} is not known: give "percentile" or "bca"')
    level_of(level)
    whole_from(draws, 100, "draws")
    masses = [sorts_matrix(each, f"stratum {place}") for place, each in enumerate(strata, start=1)]
    parts = _stratum_parts(masses, weights)
    means = [shares_of_study(each, estimator=estimator) for each in masses]
    study = combine_strata(means, parts) if len(means) > 1 else means[0]
    ratios = [parts_of(each, estimator) for each in masses]
    drawn = _draw(ratios, parts, draws, seed, progress)  # (B, K)
    acceleration = _acceleration(ratios, parts) if interval == "bca" else None
    low, high = _ends(drawn, study.value, level, acceleration)
    cautions = study.cautions()
    return tuple(
        Estimate(
            value=float(study.value[k]),
            low=float(low[k]),
            high=float(high[k]),
            level=level,
            unit="1",
            method=f"{study.method}, bootstrap by sort, {interval} interval",
            n=study.n,
            assumptions=(*study.assumptions, *cautions[k]),
        )
        for k in range(study.value.size)
    )


def _stratum_parts(masses: Sequence[Floats], weights: ArrayLike | None) -> Floats:
    if not masses:
        raise ValueError("there is no stratum: give the masses of at least one")
    same_length(**{f"stratum {place}": each.T for place, each in enumerate(masses, start=1)})
    if weights is None:
        if len(masses) > 1:
            raise ValueError(f"{len(masses)} strata without weights: give the size of each")
        return np.ones(1)
    return parts_of_whole(weights, len(masses))


def _draw(
    ratios: Sequence[tuple[Floats, Floats]],
    parts: Floats,
    draws: int,
    seed: int,
    progress: Progress | None,
) -> Floats:
    """Return the shares of all draws, (draws, K)."""
    generator = np.random.default_rng(seed)
    drawn = np.zeros((draws, ratios[0][0].shape[1]))
    for start in range(0, draws, CHUNK):
        rows = drawn[start : start + CHUNK]
        for part, (top, bottom) in zip(parts, ratios, strict=True):
            n = bottom.size
            times = generator.multinomial(n, np.full(n, 1 / n), size=rows.shape[0])
            rows += part * drawn_ratios(top, bottom, times.astype(np.float64))
        if progress is not None:
            progress(start + rows.shape[0], draws)
    return drawn


def _acceleration(ratios: Sequence[tuple[Floats, Floats]], parts: Floats) -> Floats:
    """Return the acceleration of each category from empirical influence values; 0 if constant."""
    cubes, squares = 0.0, 0.0
    for part, (top, bottom) in zip(parts, ratios, strict=True):
        n = bottom.size
        ratio = top.sum(axis=0) / bottom.sum()
        influence = part * (top - ratio * bottom[:, None]) / bottom.mean() / n  # (n, K)
        cubes = cubes + (influence**3).sum(axis=0)
        squares = squares + (influence**2).sum(axis=0)
    scale = np.asarray(squares) ** 1.5
    return np.divide(cubes, 6 * scale, out=np.zeros_like(scale), where=scale > 0)


def _ends(
    drawn: Floats, value: Floats, level: float, acceleration: Floats | None
) -> tuple[Floats, Floats]:
    """Return lower and upper ends, (K,) each."""
    ends = np.array([(1 - level) / 2, (1 + level) / 2])
    if acceleration is None:
        low, high = np.quantile(drawn, ends, axis=0)
        return low, high
    # Ties (light categories draw the value itself often) count by half, as in scipy.
    below = ((drawn < value).mean(axis=0) + (drawn <= value).mean(axis=0)) / 2
    # No draw on one side would put the bias at infinity; half a draw is the least that shows.
    least = 0.5 / drawn.shape[0]
    bias = scipy.special.ndtri(np.clip(below, least, 1 - least))  # (K,)
    shifted = bias + scipy.special.ndtri(ends)[:, None]  # (2, K)
    at = scipy.special.ndtr(bias + shifted / (1 - acceleration * shifted))
    found = np.array([np.quantile(drawn[:, k], at[:, k]) for k in range(value.size)])
    return found[:, 0], found[:, 1]
