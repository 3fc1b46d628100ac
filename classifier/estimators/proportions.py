"""Four intervals for a proportion: normal, Wilson, Clopper-Pearson, Blaker.

Wilson's is the default everywhere (see `intervals.wilson`). Clopper-Pearson never covers less than
its level and is wide; Blaker's never does either and lies within it. The normal (Wald) interval is
here to reproduce published tables: it is too narrow near 0 and 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

import numpy as np
from scipy.special import betaincinv, ndtri
from scipy.stats import binom

from classifier.estimators._checks import Floats
from classifier.estimators._tables import chosen_from
from classifier.estimators.intervals import wilson
from classifier.estimators.result import Estimate

ProportionInterval = Literal["wilson", "clopper_pearson", "blaker", "normal"]
_STEP = 1e-4  # of the search for the end of Blaker's interval


def proportion(
    successes: int, n: int, *, interval: ProportionInterval = "wilson", level: float = 0.95
) -> Estimate:
    """Estimate a proportion with an interval of one's choice.

    Parameters
    ----------
    successes : int
        Number of successes, 0 to `n`.
    n : int
        Number of independent trials, at least 1.
    interval : {"wilson", "clopper_pearson", "blaker", "normal"}
        The normal one may reach outside 0 to 1 and is not clipped.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Estimate
        The proportion, unit "1".

    Raises
    ------
    ValueError
        If a number or option is not allowed.

    Assumptions
    -----------
    As for `wilson`: independent trials with one common probability.

    References
    ----------
    R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, methods 1, 3 and 5 (DOMAIN.md 7.6,
    code A). H. Blaker, Canadian J. Statist. 28 (2000) 783-798.

    Examples
    --------
    >>> e = proportion(20, 120, interval="clopper_pearson")
    >>> round(e.low, 4), round(e.high, 4)
    (0.1049, 0.2456)
    """
    score = wilson(successes, n, level=level)
    if chosen_from(interval, ("wilson", *_ENDS), "interval") == "wilson":
        return score
    low, high = _ENDS[interval](successes, n, level)
    return Estimate(
        value=score.value,
        low=low,
        high=high,
        level=level,
        unit="1",
        method=f"proportion, {_NAMES[interval]} interval",
        n=n,
        assumptions=score.assumptions,
    )


def _normal(x: int, n: int, level: float) -> tuple[float, float]:
    p = x / n
    half = float(ndtri(0.5 + level / 2)) * math.sqrt(p * (1 - p) / n)
    return p - half, p + half


def _clopper_pearson(x: int, n: int, level: float) -> tuple[float, float]:
    tail = (1 - level) / 2
    low = 0.0 if x == 0 else float(betaincinv(x, n - x + 1, tail))
    high = 1.0 if x == n else float(betaincinv(x + 1, n - x, 1 - tail))
    return low, high


def _blaker(x: int, n: int, level: float) -> tuple[float, float]:
    return _blaker_low(x, n, level), 1 - _blaker_low(n - x, n, level)


def _blaker_low(x: int, n: int, level: float) -> float:
    """Return the lower end: the least p that is acceptable at the level."""
    start = _clopper_pearson(x, n, level)[0]  # Blaker's interval lies within this one
    if x == 0:
        return 0.0
    steps = np.append(np.arange(start, x / n, _STEP), x / n)
    first = int(np.argmax(_acceptability(steps, x, n) > 1 - level))
    high, low = float(steps[first]), float(steps[max(first - 1, 0)])
    for _ in range(40):
        middle = (low + high) / 2
        accepted = _acceptability(np.array([middle]), x, n)[0] > 1 - level
        low, high = (low, middle) if accepted else (middle, high)
    return high


def _acceptability(p: Floats, x: int, n: int) -> Floats:
    """Return the chance, at each p, of an outcome no more central than x (Blaker 2000, section 2).

    The smaller tail at x, plus the largest tail on the other side that is no larger.
    """
    upper, lower = binom.sf(x - 1, n, p), binom.cdf(x, n, p)
    with_upper = upper + binom.cdf(binom.ppf(upper, n, p) - 1, n, p)
    with_lower = lower + binom.sf(binom.ppf(1 - lower, n, p), n, p)
    return np.asarray(np.minimum(with_upper, with_lower), dtype=np.float64)


_ENDS: dict[str, Callable[[int, int, float], tuple[float, float]]] = {
    "clopper_pearson": _clopper_pearson,
    "blaker": _blaker,
    "normal": _normal,
}
_NAMES = {"clopper_pearson": "Clopper-Pearson", "blaker": "Blaker", "normal": "normal (Wald)"}
