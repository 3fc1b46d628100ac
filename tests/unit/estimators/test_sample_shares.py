from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from classifier.estimators.sample_shares import CategoryMeans, per_person, shares_of_study
from tests.unit.study.study_cases import ratio_of_sums

GRAMS = [[10.0, 30.0, 0.0], [20.0, 20.0, 0.0], [90.0, 270.0, 40.0], [5.0, 5.0, 10.0]]


def test_mean_of_shares_by_hand() -> None:
    """Shares of the first category: 0.25, 0.5, 0.225, 0.25."""
    means = shares_of_study(GRAMS)
    shares = np.array([0.25, 0.5, 0.225, 0.25])
    first = means.intervals()[0]
    half = stats.t.ppf(0.95, 3) * shares.std(ddof=1) / 2
    assert (first.value, first.high - first.value) == pytest.approx((0.30625, half))
    assert (first.n, first.unit, first.level) == (4, "1", 0.90)
    assert first.method == "mean of sample shares, t interval"
    assert means.value.sum() == pytest.approx(1)


def test_ratio_of_sums_is_that_of_one_category() -> None:
    estimates = shares_of_study(GRAMS, estimator="ratio of sums").intervals(level=0.95)
    for k, estimate in enumerate(estimates):
        rows = np.array(GRAMS)
        alone = ratio_of_sums(rows[:, k], rows.sum(axis=1), level=0.95)
        assert (estimate.value, estimate.low, estimate.high) == pytest.approx(alone)
        assert "bias of order 1/n is neglected" in estimate.assumptions


def test_levels_widen_and_options_differ() -> None:
    means = shares_of_study(GRAMS)
    assert means.intervals(level=0.99)[0].high > means.intervals()[0].high
    assert means.value[0] != shares_of_study(GRAMS, estimator="ratio of sums").value[0]
    with pytest.raises(ValueError, match=r"level 90 is not between 0 and 1"):
        means.intervals(level=90)


def test_a_category_that_was_not_found_carries_a_caution() -> None:
    absent = shares_of_study([[1, 0, 1]] * 12).intervals()[1]
    assert absent.value == absent.low == absent.high == 0
    assert absent.assumptions[-1].startswith("weighed in none of 12 sorts: how much others")


def test_few_sorts_or_much_spread_carry_a_caution() -> None:
    even = [[5.0, 95.0], [6.0, 94.0]]
    assert shares_of_study(even * 4).rough.tolist() == [True, True]
    assert shares_of_study(even * 5).rough.tolist() == [False, False]
    lumpy = shares_of_study([[0.0, 100.0], [12.0, 88.0]] * 6)
    assert lumpy.rough.tolist() == [True, False]
    rough, fine = lumpy.intervals()
    assert rough.assumptions[-1].endswith("the interval is likely too narrow")
    assert fine.assumptions == ("sorts are independent and random",)


@pytest.mark.parametrize(
    ("grams", "message"),
    [
        ([[1.0, 2.0]], r"grams has shape \(1, 2\): give two sorts"),
        ([1.0, 2.0], r"grams has shape \(2,\)"),
        ([[], []], r"grams has shape \(2, 0\)"),
        ([[1.0, -2.0], [1.0, 1.0]], "grams holds values below 0 or not finite"),
        ([[1.0, np.nan], [1.0, 1.0]], "grams holds values below 0 or not finite"),
        ([[0.0, 0.0], [1.0, 1.0]], "grams holds a sort without any mass: leave it out"),
    ],
)
def test_impossible_masses_are_refused(grams: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        shares_of_study(grams)  # type: ignore[arg-type]


def test_unknown_estimator() -> None:
    with pytest.raises(ValueError, match="estimator 'median' is not known: give one of mean of"):
        shares_of_study(GRAMS, estimator="median")  # type: ignore[arg-type]


def test_per_person_counts_households_by_person_days() -> None:
    """7 kg of 1 person in a week and 7 kg of 3 persons in two weeks: 14 kg in 49 person-days."""
    week = per_person([[6000, 1000], [3000, 4000]], [1, 3], [7, 14])
    assert week.value == pytest.approx([9000 / 7, 5000 / 7])
    day = per_person([[6000, 1000], [3000, 4000]], [1, 3], [7, 14], per="day")
    assert day.value == pytest.approx(week.value / 7)
    assert day.variance == pytest.approx(week.variance / 49)
    estimate = day.intervals()[0]
    assert (estimate.unit, estimate.method) == ("g", "ratio of sums per person and day, t interval")
    assert week.intervals()[0].high == pytest.approx(ratio_of_sums([6000, 3000], [1, 6])[2])


@pytest.mark.parametrize(
    ("persons", "days", "per", "message"),
    [
        ([1], [7, 7], "week", "lengths differ"),
        ([1, 0], [7, 7], "week", "persons and days must be above 0 in each sort"),
        ([1, 1], [7, -7], "week", "persons and days must be above 0 in each sort"),
        ([1, 1], [7, 7], "year", "per 'year' is not known"),
    ],
)
def test_per_person_refuses(persons: list[int], days: list[int], per: str, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        per_person([[1, 2], [3, 4]], persons, days, per=per)  # type: ignore[arg-type]


def means_of(variance: float, df: float) -> CategoryMeans:
    one = np.ones(1)
    found, rough = np.ones(1, int), np.zeros(1, bool)
    return CategoryMeans(one, variance * one, df * one, found, rough, 2, "1", "made", ())


@pytest.mark.parametrize(("variance", "df"), [(-1.0, 1.0), (1.0, 0.0)])
def test_impossible_means(variance: float, df: float) -> None:
    with pytest.raises(ValueError, match="variances must not be below 0 and degrees of freedom"):
        means_of(variance, df)


def test_means_of_different_lengths() -> None:
    one = np.ones(1)
    with pytest.raises(ValueError, match="lengths differ"):
        CategoryMeans(one, one, np.ones(2), np.ones(1, int), one > 1, 2, "1", "made", ())
