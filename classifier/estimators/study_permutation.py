"""Whether two strata or dates differ at all: a permutation test over sorts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations, islice

import numpy as np
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, whole_from
from classifier.estimators._moments import (
    CHUNK,
    Estimator,
    drawn_moments,
    parts_of,
    sorts_matrix,
)

Progress = Callable[[int, int], None]
# Statistics that differ by rounding only must count as equal, or a p-value loses its ties.
_TIES = 1 - 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class PermutationTest:
    """Result of `permutation_test`; arrays of shape (n_categories,).

    Parameters
    ----------
    statistic : ndarray
        Difference over its standard error; 0 where nothing differs.
    p : ndarray
        p-value of each category by itself, above 0 and at most 1.
    p_adjusted : ndarray
        p-value that allows for having looked at all categories.
    draws : int
        Number of divisions compared.
    exact : bool
        Whether these were all possible divisions.
    method : str
        Name of estimator and test.
    """

    statistic: Floats
    p: Floats
    p_adjusted: Floats
    draws: int
    exact: bool
    method: str

    @property
    def p_any(self) -> float:
        """p-value of "nothing differs in any category"."""
        return float(self.p_adjusted.min())


def permutation_test(
    one: ArrayLike,
    other: ArrayLike,
    *,
    estimator: Estimator = "mean of sample shares",
    draws: int = 9999,
    seed: int = 0,
    progress: Progress | None = None,
) -> PermutationTest:
    """Test whether the shares of two groups of sorts differ by more than chance.

    Parameters
    ----------
    one, other : array-like of shape (n_sorts, n_categories)
        Masses as for `shares_of_study`, of the same categories; two sorts or more each.
    estimator : {"mean of sample shares", "ratio of sums"}
        As for `shares_of_study`.
    draws : int
        Number of random divisions, at least 100; if there are no more than this at all, each is
        taken once and the test is exact.
    seed : int
        Seed of the generator: the same input gives the same p-values.
    progress : callable, optional
        Called with divisions done and divisions in all.

    Returns
    -------
    PermutationTest
        Two-sided.

    Raises
    ------
    ValueError
        If an argument is not allowed or the two have different categories.

    Assumptions
    -----------
    Under the null hypothesis sorts could have been in either group: exact if the groups are alike
    in everything; nearly so if only the means are, since the statistic is studentised.

    Notes
    -----
    Groups are divided anew at random and the statistic T = difference / sqrt(Var + Var) is compared
    with that of the real division: p = (1 + #{|T*| >= |T|}) / (1 + draws). The adjusted p compares
    |T| of each category with the largest |T*| of all categories.

    References
    ----------
    B. Phipson, G. K. Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) article 39 (the 1 added).
    A. Janssen, Statist. Probab. Lett. 36 (1997) 9-21 (studentised). P. H. Westfall, S. S. Young,
    Resampling-Based Multiple Testing (1993), section 2.3 (single-step maxT; code D).

    Examples
    --------
    >>> test = permutation_test([[1, 9], [2, 8], [1, 8]], [[6, 4], [7, 3], [8, 3]])
    >>> test.exact, test.draws, test.p.tolist()
    (True, 20, [0.1, 0.1])
    """
    whole_from(draws, 100, "draws")
    first, second = sorts_matrix(one, "one"), sorts_matrix(other, "other")
    if first.shape[1] != second.shape[1]:
        raise ValueError(
            f"one has {first.shape[1]} categories and other {second.shape[1]}: give the same"
        )
    top, bottom = parts_of(np.concatenate([first, second]), estimator)
    n, size = bottom.size, first.shape[0]
    observed = _statistic(top, bottom, (np.arange(n) < size).astype(np.float64)[None, :])[0]
    exact = math.comb(n, size) <= draws
    total = math.comb(n, size) if exact else draws
    chunks = _all_divisions(n, size) if exact else _random_divisions(n, size, draws, seed)
    hits, hits_of_any, done = np.zeros(observed.size), np.zeros(observed.size), 0
    for chosen in chunks:
        drawn = np.abs(_statistic(top, bottom, chosen))  # (B, K)
        limit = np.abs(observed) * _TIES
        hits += (drawn >= limit).sum(axis=0)
        hits_of_any += (drawn.max(axis=1)[:, None] >= limit).sum(axis=0)
        done += chosen.shape[0]
        if progress is not None:
            progress(done, total)
    # All divisions include the real one; random ones need it added, or p could be 0.
    added = 0 if exact else 1
    return PermutationTest(
        statistic=observed,
        p=(hits + added) / (total + added),
        p_adjusted=(hits_of_any + added) / (total + added),
        draws=total,
        exact=exact,
        method=f"difference of {estimator}, permutation test by sort",
    )


def _statistic(top: Floats, bottom: Floats, chosen: Floats) -> Floats:
    """Return difference over standard error for each division, (B, K)."""
    value, variance = drawn_moments(top, bottom, chosen)
    rest, rest_variance = drawn_moments(top, bottom, 1 - chosen)
    gap = value - rest
    gap[np.abs(gap) <= 1e-12 * (value + rest)] = 0.0
    error = np.sqrt(variance + rest_variance)
    # Without any spread a gap is infinitely many standard errors, no gap none.
    statistic = np.where(gap == 0, 0.0, np.copysign(np.inf, gap))
    return np.divide(gap, error, out=statistic, where=error > 0)


def _random_divisions(n: int, size: int, draws: int, seed: int) -> Iterator[Floats]:
    generator = np.random.default_rng(seed)
    for start in range(0, draws, CHUNK):
        rows = np.tile((np.arange(n) < size).astype(np.float64), (min(CHUNK, draws - start), 1))
        yield generator.permuted(rows, axis=1)


def _all_divisions(n: int, size: int) -> Iterator[Floats]:
    every = combinations(range(n), size)
    while members := list(islice(every, CHUNK)):
        rows = np.zeros((len(members), n))
        np.put_along_axis(rows, np.array(members), 1.0, axis=1)
        yield rows
