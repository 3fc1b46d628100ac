"""Capture, contamination and diversion, each a ratio of sums over households or loads.

Whether what does not belong counts in a numerator changes every one of these: the names say which.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from classifier.estimators._checks import (
    Floats,
    flags,
    level_of,
    same_length,
    vector,
    whole_from,
)
from classifier.estimators._moments import ratio_moments, sorts_matrix
from classifier.estimators.result import Estimate
from classifier.estimators.strata import Amount

_PAIRED = (
    "households or loads are independent and random, both streams of each weighed",
    "bias of order 1/n is neglected",
)
_SORTS = ("sorts are independent and random", "bias of order 1/n is neglected")


@dataclass(frozen=True, slots=True)
class RecoveryRates:
    """Rates of a collection; fractions from 0 to 1.

    Parameters
    ----------
    contamination : Estimate
        What is not accepted, over all in the recycling stream.
    capture : Estimate
        Accepted material in the recycling stream, over all of it in both streams.
    gross_diversion : Estimate
        All in the recycling stream, over both streams.
    net_diversion : Estimate
        Accepted material in the recycling stream, over both streams.
    """

    contamination: Estimate
    capture: Estimate
    gross_diversion: Estimate
    net_diversion: Estimate


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Recovery potential under two lists of accepted categories; fractions of all discards.

    Parameters
    ----------
    now, then : Estimate
        Share that the present, and the other, list accepts.
    change : Estimate
        `then` minus `now`; its interval is narrower than the two suggest, for they go together.
    """

    now: Estimate
    then: Estimate
    change: Estimate


def recovery_rates(
    accepted: ArrayLike,
    not_accepted: ArrayLike,
    missed: ArrayLike,
    other: ArrayLike,
    *,
    level: float = 0.90,
) -> RecoveryRates:
    """Estimate four rates from households or loads with both their streams sorted.

    Parameters
    ----------
    accepted, not_accepted : array-like of shape (n_samples,)
        Masses in the recycling stream: what the programme accepts, and what it doesn't.
    missed, other : array-like of shape (n_samples,)
        Masses in the refuse stream: what the programme would accept, and all else. Any one unit.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    RecoveryRates
        With Student t intervals between samples, not clipped to 0 to 1.

    Raises
    ------
    ValueError
        If there are fewer than two samples, lengths differ, a mass is below 0, or all masses of a
        denominator are 0.

    Assumptions
    -----------
    Samples are random and independent, and both streams of each were weighed over the same time.
    For streams sampled apart use `capture_of_streams`.

    Notes
    -----
    With sums a, u, m, o: contamination u / (a + u), capture a / (a + m), gross diversion
    (a + u) / (a + u + m + o), net diversion a / (a + u + m + o).

    References
    ----------
    Marshall, Morrigan, Start at the Cart, Resource Recycling, March 2018 (capture, diversion;
    DOMAIN.md 5.5, code B). Contamination and variance as for `ratio_of_sums` (code A).

    Examples
    --------
    >>> rates = recovery_rates([51, 51], [9, 9], [34, 34], [106, 106])
    >>> rates.contamination.value, rates.capture.value, rates.net_diversion.value
    (0.15, 0.6, 0.255)
    """
    a, u = _masses(accepted, "accepted"), _masses(not_accepted, "not_accepted")
    m, o = _masses(missed, "missed"), _masses(other, "other")
    n = same_length(accepted=a, not_accepted=u, missed=m, other=o)
    whole_from(n, 2, "number of samples")
    whole = a + u + m + o
    return RecoveryRates(
        contamination=_rate(u, a + u, "contamination", level, _PAIRED),
        capture=_rate(a, a + m, "capture", level, _PAIRED),
        gross_diversion=_rate(a + u, whole, "gross diversion", level, _PAIRED),
        net_diversion=_rate(a, whole, "net diversion", level, _PAIRED),
    )


def capture_of_streams(
    accepted: Amount, missed: Amount, *, n: int, level: float = 0.90
) -> Estimate:
    """Estimate capture from two streams that were sampled apart.

    Parameters
    ----------
    accepted : Amount
        Accepted material in the recycling stream, such as from `scale_to_population`.
    missed : Amount
        Accepted material in the refuse stream, in the same unit.
    n : int
        Number of sorts behind both, at least 2.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Estimate
        Fraction from 0 to 1; the interval stays within.

    Raises
    ------
    ValueError
        If units differ or an argument is not allowed.

    Assumptions
    -----------
    The two amounts are independent, of one population and one period, and each several standard
    errors above 0.

    Notes
    -----
    ln(A / M) has variance Var(A) / A^2 + Var(M) / M^2 to first order; its t interval, with degrees
    of freedom after Satterthwaite, is turned back into A / (A + M).

    References
    ----------
    Own derivation (OWN): delta method on the logit scale. Capture as in `recovery_rates`.

    Examples
    --------
    >>> e = capture_of_streams(Amount(102, 5, "t"), Amount(68, 8, "t"), n=40)
    >>> round(e.value, 2), round(e.low, 3), round(e.high, 3)
    (0.6, 0.549, 0.649)
    """
    if accepted.unit != missed.unit:
        raise ValueError(f"units differ: {accepted.unit!r} and {missed.unit!r}; give one")
    parts = [(each.standard_error / each.value) ** 2 for each in (accepted, missed)]
    variance = sum(parts)
    inverse = sum(
        (part / variance) ** 2 / each.df
        for part, each in zip(parts, (accepted, missed), strict=True)
        if part > 0
    )
    quantile = float(
        scipy.special.stdtrit(1 / inverse if inverse > 0 else math.inf, 0.5 + level_of(level) / 2)
    )
    centre, half = math.log(accepted.value / missed.value), quantile * math.sqrt(variance)
    return Estimate(
        value=accepted.value / (accepted.value + missed.value),
        low=float(scipy.special.expit(centre - half)),
        high=float(scipy.special.expit(centre + half)),
        level=level,
        unit="1",
        method="capture of two streams, logit t interval",
        n=whole_from(n, 2, "number of sorts"),
        assumptions=("streams were sampled independently, of one population and period",),
    )


def recovery_potential(
    grams: ArrayLike, now: ArrayLike, then: ArrayLike, *, level: float = 0.90
) -> WhatIf:
    """Estimate what share of discards a programme accepts, and what another list would change.

    Parameters
    ----------
    grams : array-like of shape (n_sorts, n_categories)
        As for `shares_of_study`: discards of all streams together.
    now, then : array-like of bool, shape (n_categories,)
        Which categories the programme accepts, and which it would.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    WhatIf
        Ratios of sums with Student t intervals.

    Raises
    ------
    ValueError
        If an argument is not allowed.

    Assumptions
    -----------
    As for `shares_of_study` with the ratio of sums. A potential: what people would put out is
    less, by the capture.

    References
    ----------
    As for `ratio_of_sums`; the change is the ratio of sums of the categories added, less those
    taken away.

    Examples
    --------
    >>> answer = recovery_potential([[2, 1, 7], [2, 3, 5]], [True, False, False], [1, 1, 0])
    >>> answer.now.value, answer.then.value, answer.change.value
    (0.2, 0.4, 0.2)
    """
    masses = sorts_matrix(grams)
    before, after = flags(now, "now"), flags(then, "then")
    same_length(categories=masses.T, now=before, then=after)
    totals = masses.sum(axis=1)
    one, other = masses @ before, masses @ after
    added = masses @ (after.astype(np.float64) - before)
    return WhatIf(
        now=_rate(one, totals, "recovery potential", level, _SORTS),
        then=_rate(other, totals, "recovery potential", level, _SORTS),
        change=_rate(added, totals, "change of recovery potential", level, _SORTS),
    )


def _masses(values: ArrayLike, name: str) -> Floats:
    masses = vector(values, name)
    if masses.min() < 0:
        raise ValueError(f"{name} goes down to {masses.min()}: no mass may be below 0")
    return masses


def _rate(
    top: Floats, bottom: Floats, name: str, level: float, assumptions: tuple[str, ...]
) -> Estimate:
    if bottom.sum() <= 0:
        raise ValueError(f"{name} has nothing to be a part of: all masses of its whole are 0")
    value, variance = (float(each[0]) for each in ratio_moments(top[:, None], bottom))
    half = float(scipy.special.stdtrit(top.size - 1, 0.5 + level_of(level) / 2)) * math.sqrt(
        variance
    )
    return Estimate(
        value=value,
        low=value - half,
        high=value + half,
        level=level,
        unit="1",
        method=f"{name}: ratio of sums, t interval",
        n=top.size,
        assumptions=assumptions,
    )
