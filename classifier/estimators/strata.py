"""Strata together and against each other, and shares scaled to a population."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, same_length, vector
from classifier.estimators._moments import satterthwaite
from classifier.estimators.sample_shares import CategoryMeans, is_rough

KNOWN_WEIGHTS = "weights of the strata are known without error"


@dataclass(frozen=True, slots=True)
class Amount:
    """A total with its own uncertainty, such as tonnes a year over a weighbridge.

    Parameters
    ----------
    value : float
        Above 0, in `unit`.
    standard_error : float
        Not below 0; 0 for a figure that is known exactly.
    unit : str
        Such as "t".
    df : float
        Degrees of freedom of the standard error, above 0.

    Raises
    ------
    ValueError
        If a number is outside its range.
    """

    value: float
    standard_error: float
    unit: str
    df: float = math.inf

    def __post_init__(self) -> None:
        """Refuse what is no amount."""
        if not (0 < self.value < math.inf and 0 <= self.standard_error < math.inf):
            raise ValueError(
                f"amount {self.value} ± {self.standard_error} {self.unit}: give a value above 0 "
                "and a standard error that is not below 0"
            )
        if not self.df > 0:
            raise ValueError(f"degrees of freedom {self.df} must be above 0")


def combine_strata(strata: Sequence[CategoryMeans], weights: ArrayLike) -> CategoryMeans:
    """Estimate shares of a whole from those of its strata.

    Parameters
    ----------
    strata : sequence of CategoryMeans
        One for each stratum, of the same categories, unit and estimator.
    weights : array-like of shape (n_strata,)
        Size of each stratum, not below 0, such as tonnes a year or a fraction: only their
        proportions matter. For means per person the persons.

    Returns
    -------
    CategoryMeans
        sum W_h r_h with W_h the weights over their sum.

    Raises
    ------
    ValueError
        If there is no stratum, the strata don't belong together, or weights are not allowed.

    Assumptions
    -----------
    Strata are sampled independently of each other; their weights are known without error.

    Notes
    -----
    Var = sum W_h^2 Var(r_h). Degrees of freedom after Satterthwaite:
    (sum a_h)^2 / sum(a_h^2 / df_h) with a_h = W_h^2 Var(r_h).

    References
    ----------
    W. G. Cochran, Sampling Techniques, 3rd ed. (1977), sections 5.3 and 5.4 (code D).
    F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110-114.

    Examples
    --------
    >>> from classifier.estimators.sample_shares import shares_of_study
    >>> homes, shops = shares_of_study([[1, 3], [1, 3]]), shares_of_study([[1, 1], [1, 1]])
    >>> combine_strata([homes, shops], [30, 10]).value.tolist()
    [0.3125, 0.6875]
    """
    parts = parts_of_whole(weights, len(strata))
    _alike(strata)
    terms = [part**2 * each.variance for part, each in zip(parts, strata, strict=True)]
    value = np.sum([part * each.value for part, each in zip(parts, strata, strict=True)], axis=0)
    variance = np.sum(terms, axis=0)
    n = sum(each.n for each in strata)
    return CategoryMeans(
        value=value,
        variance=variance,
        df=satterthwaite(terms, [each.df for each in strata]),
        found=np.sum([each.found for each in strata], axis=0),
        # Together strata can be good enough though one by one they aren't.
        rough=np.any([each.rough for each in strata], axis=0) & is_rough(value, variance, n),
        n=n,
        unit=strata[0].unit,
        method=f"{strata[0].method}, {len(strata)} strata",
        assumptions=(*strata[0].assumptions, KNOWN_WEIGHTS),
    )


def parts_of_whole(weights: ArrayLike, strata: int) -> Floats:
    """Return the part of the whole that each stratum is; they add to 1.

    Raises
    ------
    ValueError
        If there is not one weight a stratum, one is below 0, or all are 0.
    """
    sizes = vector(weights, "weights")
    if strata != sizes.size:
        raise ValueError(f"{strata} strata and {sizes.size} weights: give one for each")
    if sizes.min() < 0 or sizes.sum() <= 0:
        raise ValueError("weights must not be below 0, nor all be 0: give the size of each stratum")
    return np.asarray(sizes / sizes.sum())


def difference(one: CategoryMeans, other: CategoryMeans) -> CategoryMeans:
    """Estimate by how much one stratum or date exceeds another, category by category.

    Parameters
    ----------
    one, other : CategoryMeans
        Of the same categories, unit and estimator, from different sorts.

    Returns
    -------
    CategoryMeans
        `one` minus `other`; differences of shares add to 0.

    Raises
    ------
    ValueError
        If the two don't belong together.

    Assumptions
    -----------
    The two were sampled independently: not the same households twice, whose differences should be
    taken pair by pair. The intervals hold each for its own category; among 40 categories some four
    will exclude 0 at 90 % though nothing changed. `permutation_test` allows for that.

    References
    ----------
    B. L. Welch, Biometrika 34 (1947) 28-35.

    Examples
    --------
    >>> from classifier.estimators.sample_shares import shares_of_study
    >>> spring, autumn = shares_of_study([[1, 3], [2, 2]]), shares_of_study([[3, 1], [1, 1]])
    >>> difference(spring, autumn).value.tolist()
    [-0.25, 0.25]
    """
    _alike([one, other])
    return CategoryMeans(
        value=one.value - other.value,
        variance=one.variance + other.variance,
        df=satterthwaite([one.variance, other.variance], [one.df, other.df]),
        found=one.found + other.found,
        rough=one.rough | other.rough,
        n=one.n + other.n,
        unit=one.unit,
        method=f"difference of {one.method}, Welch",
        assumptions=(*one.assumptions, "both sides of a difference were sampled independently"),
    )


def scale_to_population(shares: CategoryMeans, amount: Amount) -> CategoryMeans:
    """Estimate totals of every category in a population from shares and a total amount.

    Parameters
    ----------
    shares : CategoryMeans
        Fractions, unit "1".
    amount : Amount
        Total of the population with its own uncertainty.

    Returns
    -------
    CategoryMeans
        Totals in the unit of the amount.

    Raises
    ------
    ValueError
        If the shares are not in unit "1".

    Assumptions
    -----------
    Shares and amount are independent, and the shares are those of the same population: shares of
    what is generated don't scale an amount that was landfilled.

    Notes
    -----
    Var(T p) is about T^2 Var(p) + p^2 Var(T); the product of the two variances, of second order, is
    neglected.

    References
    ----------
    L. A. Goodman, J. Amer. Statist. Assoc. 55 (1960) 708-713, first-order terms. Degrees of freedom
    after Satterthwaite, as in `combine_strata`.

    Examples
    --------
    >>> from classifier.estimators.sample_shares import shares_of_study
    >>> shares = shares_of_study([[1, 3], [1, 3]])
    >>> tonnes = scale_to_population(shares, Amount(1000.0, 40.0, "t"))
    >>> tonnes.value.tolist(), tonnes.variance.tolist()
    ([250.0, 750.0], [100.0, 900.0])
    """
    if shares.unit != "1":
        raise ValueError(f"shares are in {shares.unit!r}: give fractions, unit '1'")
    terms = [amount.value**2 * shares.variance, shares.value**2 * amount.standard_error**2]
    return CategoryMeans(
        value=amount.value * shares.value,
        variance=terms[0] + terms[1],
        df=satterthwaite(terms, [shares.df, np.full_like(shares.df, amount.df)]),
        found=shares.found,
        rough=shares.rough,
        n=shares.n,
        unit=amount.unit,
        method=f"population total times {shares.method}",
        assumptions=(*shares.assumptions, "shares and population total are independent"),
    )


def _alike(strata: Sequence[CategoryMeans]) -> None:
    same_length(**{f"stratum {place}": each.value for place, each in enumerate(strata, start=1)})
    kinds = sorted({f"{each.method} in {each.unit}" for each in strata})
    if len(kinds) > 1:
        raise ValueError(f"estimators differ: {'; '.join(kinds)}; use one for all")
