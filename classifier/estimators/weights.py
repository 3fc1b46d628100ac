"""Counts to weights and back, by the mean weight of one item.

Estimates only: a weighed pile keeps its measured weight, and nothing here is added to one.
"""

from __future__ import annotations

import math

from numpy.typing import ArrayLike

from classifier.estimators._checks import whole_from
from classifier.estimators.ratio import ratio_of_sums
from classifier.estimators.result import Estimate


def mean_item_weight(grams: ArrayLike, counts: ArrayLike, *, level: float = 0.90) -> Estimate:
    """Estimate the mean weight of one item of a category from batches with weight and count.

    Parameters
    ----------
    grams : array-like of shape (n_batches,)
        Net weight of each batch in grams, not below 0.
    counts : array-like of shape (n_batches,)
        Number of items in each batch, above 0.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Estimate
        Grams per item as a ratio of sums, with Student t interval between batches.

    Raises
    ------
    ValueError
        As for `ratio_of_sums`; one batch alone shows no error between batches.

    Assumptions
    -----------
    As for `ratio_of_sums`, with batches as the samples; batches are of the same kind of item, empty
    and dry alike.

    References
    ----------
    As for `ratio_of_sums`.

    Examples
    --------
    >>> e = mean_item_weight([186.7, 373.3], [10, 20])
    >>> round(e.value, 2), e.unit
    (18.67, 'g')
    """
    estimate = ratio_of_sums(grams, counts, level=level, unit="g")
    return Estimate(
        value=estimate.value,
        low=estimate.low,
        high=estimate.high,
        level=level,
        unit="g",
        method=f"mean item weight, {estimate.method}",
        n=estimate.n,
        assumptions=(*estimate.assumptions, "batches hold the same kind of item, empty and dry"),
    )


def weight_from_count(count: int, item_weight: Estimate) -> Estimate:
    """Estimate the weight of a counted batch.

    Parameters
    ----------
    count : int
        Number of items, at least 1.
    item_weight : Estimate
        Grams per item.

    Returns
    -------
    Estimate
        Grams: count times mean item weight, interval likewise.

    Raises
    ------
    ValueError
        If the count is below 1 or the estimate is not in grams.

    Assumptions
    -----------
    Those of the item weight. The interval is that of the mean: the batch's own items may be heavier
    or lighter than the mean, which matters for small counts.

    Examples
    --------
    >>> e = Estimate(18.0, 16.0, 20.0, 0.90, "g", "mean item weight", 5, ())
    >>> weight_from_count(10, e).high
    200.0
    """
    whole_from(count, 1, "count")
    _in_grams(item_weight)
    return Estimate(
        value=count * item_weight.value,
        low=count * item_weight.low,
        high=count * item_weight.high,
        level=item_weight.level,
        unit="g",
        method=f"count times {item_weight.method}",
        n=item_weight.n,
        assumptions=(*item_weight.assumptions, "interval is that of the mean item weight only"),
    )


def count_from_weight(grams: float, item_weight: Estimate) -> Estimate:
    """Estimate the number of items in a weighed batch.

    Parameters
    ----------
    grams : float
        Net weight, above 0.
    item_weight : Estimate
        Grams per item, its value above 0.

    Returns
    -------
    Estimate
        Number of items, unit "1", not rounded. The upper end is infinite where the item weight's
        interval reaches 0.

    Raises
    ------
    ValueError
        If the weight or the item weight is not above 0, or the estimate is not in grams.

    Assumptions
    -----------
    As for `weight_from_count`.

    Examples
    --------
    >>> e = Estimate(20.0, 16.0, 25.0, 0.90, "g", "mean item weight", 5, ())
    >>> count_from_weight(400, e).low
    16.0
    """
    _in_grams(item_weight)
    if not (0 < grams < math.inf and item_weight.value > 0):
        raise ValueError(
            f"weight {grams} g and item weight {item_weight.value} g must both be above 0"
        )
    return Estimate(
        value=grams / item_weight.value,
        low=grams / item_weight.high,
        high=grams / item_weight.low if item_weight.low > 0 else math.inf,
        level=item_weight.level,
        unit="1",
        method=f"weight over {item_weight.method}",
        n=item_weight.n,
        assumptions=(*item_weight.assumptions, "interval is that of the mean item weight only"),
    )


def _in_grams(item_weight: Estimate) -> None:
    if item_weight.unit != "g":
        raise ValueError(f"item weight is in {item_weight.unit!r}: give it in g")
