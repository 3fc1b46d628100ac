from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from classifier.estimators.sample_shares import CategoryMeans, per_person, shares_of_study
from classifier.estimators.strata import (
    Amount,
    combine_strata,
    difference,
    scale_to_population,
)

HOMES = [[10.0, 30.0], [20.0, 20.0], [6.0, 34.0]]
SHOPS = [[5.0, 5.0], [9.0, 1.0], [7.0, 3.0], [6.0, 4.0]]


def exactly(value: float, variance: float, df: float) -> CategoryMeans:
    v, s, d = (np.array([float(each)]) for each in (value, variance, df))
    return CategoryMeans(v, s, d, np.array([3]), np.array([False]), 3, "1", "made", ())


def test_strata_by_hand() -> None:
    """W = 3/4, 1/4: value 0.3; a = 0.09, 0.01; df = 0.1^2 / (0.0081/2 + 0.0001/4)."""
    whole = combine_strata([exactly(0.2, 0.16, 2), exactly(0.6, 0.16, 4)], [3, 1])
    assert whole.value == pytest.approx([0.3])
    assert whole.variance == pytest.approx([0.1])
    assert whole.df == pytest.approx([0.01 / (0.0081 / 2 + 0.0001 / 4)])
    assert (whole.n, whole.found.tolist(), whole.method) == (6, [6], "made, 2 strata")
    assert whole.assumptions == ("weights of the strata are known without error",)


def test_one_stratum_is_itself() -> None:
    homes = shares_of_study(HOMES)
    alone = combine_strata([homes], [5])
    assert alone.value == pytest.approx(homes.value)
    assert alone.df == pytest.approx(homes.df)


def test_strata_are_rough_together_only_if_one_is_and_the_whole_is() -> None:
    few, many = [[5.0, 95.0], [6.0, 94.0]] * 3, [[0.0, 100.0], [12.0, 88.0]] * 6
    parts = [shares_of_study(few), shares_of_study(many)]
    assert combine_strata(parts, [1, 1]).rough.tolist() == [False, False]
    assert combine_strata(parts, [0, 1]).rough.tolist() == [True, False]
    assert difference(*parts).rough.tolist() == [True, True]
    assert scale_to_population(parts[1], Amount(1, 0, "t")).rough.tolist() == [True, False]


def test_a_stratum_of_no_weight_changes_nothing() -> None:
    homes, shops = shares_of_study(HOMES), shares_of_study(SHOPS)
    both = combine_strata([homes, shops], [1, 0])
    assert both.variance == pytest.approx(homes.variance)
    assert both.df == pytest.approx(homes.df)


def test_degrees_of_freedom_where_nothing_varies_or_all_is_known() -> None:
    constant = combine_strata([exactly(0, 0, 2), exactly(0, 0, 4)], [1, 1])
    assert constant.df.tolist() == [6]
    known = scale_to_population(exactly(0.5, 0.0, 2), Amount(10.0, 1.0, "t"))
    assert known.df.tolist() == [math.inf]
    assert known.intervals()[0].high == pytest.approx(5 + 1.6448536 * 0.5)


@pytest.mark.parametrize(
    ("count", "weights", "message"),
    [
        (0, [1], "0 strata and 1 weights: give one for each"),
        (2, [1], "2 strata and 1 weights"),
        (2, [1, -1], "weights must not be below 0, nor all be 0"),
        (2, [0, 0], "weights must not be below 0, nor all be 0"),
    ],
)
def test_weights_that_can_not_be(count: int, weights: list[int], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        combine_strata([shares_of_study(HOMES)] * count, weights)


def test_strata_must_belong_together() -> None:
    homes = shares_of_study(HOMES)
    with pytest.raises(ValueError, match="estimators differ: mean of sample shares in 1; ratio of"):
        combine_strata([homes, shares_of_study(SHOPS, estimator="ratio of sums")], [1, 1])
    with pytest.raises(ValueError, match="lengths differ"):
        difference(homes, shares_of_study([[1, 2, 3], [3, 2, 1]]))


def test_difference_is_the_test_of_welch() -> None:
    gap = difference(shares_of_study(HOMES), shares_of_study(SHOPS))
    one, other = (np.array(each)[:, 0] / np.array(each).sum(axis=1) for each in (HOMES, SHOPS))
    theirs = stats.ttest_ind(one, other, equal_var=False).confidence_interval(0.9)
    estimate = gap.intervals()[0]
    assert (estimate.low, estimate.high) == pytest.approx((theirs.low, theirs.high))
    assert (gap.n, gap.method) == (7, "difference of mean of sample shares, Welch")
    assert gap.value.sum() == pytest.approx(0)


def test_totals_carry_both_errors() -> None:
    shares = exactly(0.25, 0.0004, 10)
    total = scale_to_population(shares, Amount(1000.0, 40.0, "t", df=5))
    assert total.value == pytest.approx([250])
    assert total.variance == pytest.approx([400 + 100])
    assert total.df == pytest.approx([500**2 / (400**2 / 10 + 100**2 / 5)])
    assert (total.unit, total.method) == ("t", "population total times made")
    with pytest.raises(ValueError, match="shares are in 'g': give fractions"):
        scale_to_population(per_person(HOMES, [1, 1, 1], [7, 7, 7]), Amount(1.0, 0.0, "t"))


@pytest.mark.parametrize(
    ("value", "error", "df", "message"),
    [
        (0.0, 0.0, 1.0, r"amount 0.0 ± 0.0 t: give a value above 0"),
        (math.inf, 0.0, 1.0, "give a value above 0"),
        (1.0, -1.0, 1.0, "give a value above 0"),
        (1.0, math.nan, 1.0, "give a value above 0"),
        (1.0, 1.0, 0.0, "degrees of freedom 0.0 must be above 0"),
    ],
)
def test_amounts_that_can_not_be(value: float, error: float, df: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        Amount(value, error, "t", df)
