"""Whether two strata or dates differ at all: a permutation test over sorts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, islice, product

import numpy as np
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, same_length, whole_from
from classifier.estimators._moments import CHUNK, Estimator, drawn_moments, parts_of, sorts_matrix
from classifier.estimators.strata import parts_of_whole

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


@dataclass(frozen=True, slots=True, eq=False)
class Blocks:
    """Strata that both groups have, within which alone sorts change sides.

    Parameters
    ----------
    of_one, of_other : array-like of int, shape (n_sorts,)
        Block of each sort of either group, from 0 to n_blocks - 1; two sorts or more of each group
        in each block.
    weights_one, weights_other : array-like of shape (n_blocks,)
        Size of each block in either group, as for `combine_strata`.
    """

    of_one: ArrayLike
    of_other: ArrayLike
    weights_one: ArrayLike
    weights_other: ArrayLike


def permutation_test(
    one: ArrayLike,
    other: ArrayLike,
    *,
    blocks: Blocks | None = None,
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
    blocks : Blocks, optional
        Strata of both groups: shares are then those of `combine_strata`, and what is tested is not
        moved by one group holding more sorts of some stratum than the other.
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
    Groups are divided again at random, within each block by itself where there are blocks, and the
    statistic T = difference / sqrt(Var + Var) is compared with that of the real division:
    p = (1 + #{|T*| >= |T|}) / (1 + draws). The adjusted p compares |T| of each category with the
    largest |T*| of all categories.

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
    parts = _parts(first, second, blocks, estimator)
    observed = _statistic(parts, [each.real[None, :] for each in parts])[0]
    possible = math.prod(math.comb(each.real.size, each.size) for each in parts)
    exact = possible <= draws
    total = possible if exact else draws
    chunks = _all_divisions(parts) if exact else _random_divisions(parts, draws, seed)
    hits, hits_of_any, done = np.zeros(observed.size), np.zeros(observed.size), 0
    for chosen in chunks:
        drawn = np.abs(_statistic(parts, chosen))  # (B, K)
        limit = np.abs(observed) * _TIES
        hits += (drawn >= limit).sum(axis=0)
        hits_of_any += (drawn.max(axis=1)[:, None] >= limit).sum(axis=0)
        done += drawn.shape[0]
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
        method=f"difference of {estimator}, permutation test by sort"
        + (" within strata" if blocks else ""),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Sorts of both groups in one block; `real` (n,) is 1 for the `size` sorts of the first."""

    top: Floats
    bottom: Floats
    real: Floats
    part_of_one: float
    part_of_other: float

    @property
    def size(self) -> int:
        return int(self.real.sum())


def _parts(
    first: Floats, second: Floats, blocks: Blocks | None, estimator: Estimator
) -> list[_Block]:
    if blocks is None:
        one, other = np.zeros(first.shape[0]), np.zeros(second.shape[0])
        blocks = Blocks(one, other, np.ones(1), np.ones(1))
    of_one, of_other = np.asarray(blocks.of_one), np.asarray(blocks.of_other)
    same_length(one=first, of_one=of_one)
    same_length(other=second, of_other=of_other)
    number = int(max(of_one.max(), of_other.max())) + 1
    sizes_one = parts_of_whole(blocks.weights_one, number)
    sizes_other = parts_of_whole(blocks.weights_other, number)
    found = []
    for block in range(number):
        mine, theirs = first[of_one == block], second[of_other == block]
        for rows in (mine, theirs):
            whole_from(rows.shape[0], 2, "number of sorts in a block")
        top, bottom = parts_of(np.concatenate([mine, theirs]), estimator)
        real = (np.arange(bottom.size) < mine.shape[0]).astype(np.float64)
        found.append(_Block(top, bottom, real, sizes_one[block], sizes_other[block]))
    return found


def _statistic(parts: Sequence[_Block], chosen: Sequence[Floats]) -> Floats:
    """Return difference over standard error for each division, (B, K)."""
    shape = (chosen[0].shape[0], parts[0].top.shape[1])
    gap, level, variance = np.zeros((3, *shape))
    for each, rows in zip(parts, chosen, strict=True):
        value, own = drawn_moments(each.top, each.bottom, rows)
        rest, others = drawn_moments(each.top, each.bottom, 1 - rows)
        gap += each.part_of_one * value - each.part_of_other * rest
        level += each.part_of_one * value + each.part_of_other * rest
        variance += each.part_of_one**2 * own + each.part_of_other**2 * others
    gap[np.abs(gap) <= 1e-12 * level] = 0.0
    error = np.sqrt(variance)
    # Without any spread a gap is infinitely many standard errors, no gap none.
    statistic = np.where(gap == 0, 0.0, np.copysign(np.inf, gap))
    return np.divide(gap, error, out=statistic, where=error > 0)


def _random_divisions(parts: Sequence[_Block], draws: int, seed: int) -> Iterator[list[Floats]]:
    generator = np.random.default_rng(seed)
    for start in range(0, draws, CHUNK):
        rows = min(CHUNK, draws - start)
        yield [generator.permuted(np.tile(each.real, (rows, 1)), axis=1) for each in parts]


def _all_divisions(parts: Sequence[_Block]) -> Iterator[list[Floats]]:
    every = product(*(combinations(range(each.real.size), each.size) for each in parts))
    while members := list(islice(every, CHUNK)):
        found = []
        for place, each in enumerate(parts):
            rows = np.zeros((len(members), each.real.size))
            np.put_along_axis(rows, np.array([own[place] for own in members]), 1.0, axis=1)
            found.append(rows)
        yield found
