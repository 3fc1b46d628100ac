from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from classifier.domain.quantities import Mass, sum_masses
from classifier.domain.shares import share_of, subtract
from classifier.estimators.composition import shares_with_bounds
from classifier.estimators.intervals import group_bootstrap, group_bootstrap_ratio, wilson
from classifier.estimators.ratio import ratio_of_sums
from classifier.estimators.result import Estimate
from classifier.estimators.weights import (
    count_from_weight,
    mean_item_weight,
    weight_from_count,
)

RIGHT = np.array([1, 1, 0, 1, 1, 0, 0, 1, 1, 1], dtype=float)
GROUPS = list("aabbbcddee")


def mean_of_right(index: np.ndarray) -> float:
    return float(RIGHT[index].mean())


@pytest.mark.parametrize(("successes", "n"), [(-1, 5), (6, 5)])
def test_wilson_refuses_impossible_successes(successes: int, n: int) -> None:
    with pytest.raises(ValueError, match=f"successes {successes} are not within 0 to n = 5"):
        wilson(successes, n)


def test_wilson_needs_a_trial() -> None:
    with pytest.raises(ValueError, match="n 0 is too small: give at least 1"):
        wilson(0, 0)


def test_wilson_at_the_ends_is_exact_there() -> None:
    assert (wilson(0, 20).low, wilson(20, 20).high) == (0.0, 1.0)
    assert wilson(20, 20).low == pytest.approx(1 - wilson(0, 20).high)
    assert wilson(3, 20).n == 20


def test_wilson_widens_with_the_level() -> None:
    assert wilson(5, 20, level=0.99).high > wilson(5, 20, level=0.9).high


def test_bootstrap_draws_whole_groups() -> None:
    """With two groups, one all right and one all wrong, a draw is 0, a half or 1: 1/4, 1/2, 1/4."""
    right = np.array([1.0, 1.0, 0.0, 0.0])
    seen: list[float] = []

    def accuracy(index: np.ndarray) -> float:
        seen.append(float(right[index].mean()))
        return seen[-1]

    estimate = group_bootstrap(list("aabb"), accuracy, draws=4000)
    drawn = np.array(seen[:4000])
    assert set(drawn) == {0.0, 0.5, 1.0}
    # 5 standard errors of a share of one half in 4000 draws.
    assert (drawn == 0.5).mean() == pytest.approx(0.5, abs=5 * 0.0079)
    assert (estimate.value, estimate.low, estimate.high, estimate.n) == (0.5, 0.0, 1.0, 2)


def test_bootstrap_of_a_ratio_agrees_with_the_general_one() -> None:
    general = group_bootstrap(GROUPS, mean_of_right, draws=4000, seed=1)
    ratio = group_bootstrap_ratio(RIGHT, GROUPS, draws=4000, seed=2)
    assert general.value == ratio.value == 0.7
    assert general.low == pytest.approx(ratio.low, abs=0.03)
    assert general.high == pytest.approx(ratio.high, abs=0.03)
    assert general.method == ratio.method == "group bootstrap, percentile interval"


def test_bootstrap_is_repeatable_and_its_options_matter() -> None:
    first = group_bootstrap_ratio(RIGHT, GROUPS)
    assert first == group_bootstrap_ratio(RIGHT, GROUPS)
    narrower = group_bootstrap_ratio(RIGHT, GROUPS, level=0.5)
    assert narrower.high - narrower.low < first.high - first.low
    assert group_bootstrap_ratio(RIGHT, GROUPS, unit="g").unit == "g"
    halves = group_bootstrap_ratio(RIGHT, GROUPS, denominators=np.full(10, 2.0))
    assert halves.value == 0.35
    grams = np.arange(10) ** 1.5
    runs = {group_bootstrap_ratio(grams, range(10), seed=seed).low for seed in range(3)}
    assert len(runs) == 3
    general = group_bootstrap(GROUPS, mean_of_right, unit="kg", level=0.5, seed=3)
    assert (general.unit, general.level) == ("kg", 0.5)


def test_bootstrap_refusals() -> None:
    with pytest.raises(ValueError, match="number of groups 1 is too small: give at least 2"):
        group_bootstrap(["a"] * 10, mean_of_right)
    with pytest.raises(ValueError, match="number of groups 1 is too small: give at least 2"):
        group_bootstrap_ratio(RIGHT, ["a"] * 10)
    with pytest.raises(ValueError, match="draws 99 is too small: give at least 100"):
        group_bootstrap(GROUPS, mean_of_right, draws=99)
    with pytest.raises(ValueError, match="draws 99 is too small: give at least 100"):
        group_bootstrap_ratio(RIGHT, GROUPS, draws=99)
    with pytest.raises(ValueError, match="level 95 is not between"):
        group_bootstrap(GROUPS, mean_of_right, level=95)
    with pytest.raises(ValueError, match="level 95 is not between"):
        group_bootstrap_ratio(RIGHT, GROUPS, level=95)
    with pytest.raises(ValueError, match="the statistic of a bootstrap draw is not a finite"):
        group_bootstrap(GROUPS, lambda index: float("nan") if index.size != 10 else 0.5)
    with pytest.raises(ValueError, match="lengths differ"):
        group_bootstrap_ratio(RIGHT, GROUPS[:9])
    with pytest.raises(ValueError, match=r"denominators go down to 0.0: each must be above 0"):
        group_bootstrap_ratio(RIGHT, GROUPS, denominators=[0.0, *[1.0] * 9])


def test_ratio_needs_two_samples_and_sensible_numbers() -> None:
    with pytest.raises(ValueError, match="number of samples 1 is too small: give at least 2"):
        ratio_of_sums([1], [2])
    with pytest.raises(ValueError, match=r"numerators go down to -1.0: none may be below 0"):
        ratio_of_sums([-1, 2], [2, 2])
    with pytest.raises(ValueError, match=r"denominators go down to 0.0: each must be above 0"):
        ratio_of_sums([1, 2], [0, 2])
    with pytest.raises(ValueError, match="lengths differ"):
        ratio_of_sums([1, 2], [1, 2, 3])
    with pytest.raises(ValueError, match="level 90 is not between 0 and 1"):
        ratio_of_sums([1, 2], [1, 2], level=90)
    with pytest.raises(ValueError, match="distribution 'z' is not known: give"):
        ratio_of_sums([1, 2], [1, 2], distribution="z")  # type: ignore[arg-type]


def test_ratio_intervals_differ_by_distribution_and_are_not_clipped() -> None:
    student = ratio_of_sums([0, 1], [10, 10])
    normal = ratio_of_sums([0, 1], [10, 10], distribution="normal")
    assert student.value == normal.value == 0.05
    assert student.low < normal.low < 0
    assert (student.method, normal.method) == (
        "ratio of sums, t interval",
        "ratio of sums, normal interval",
    )


def test_proportional_samples_have_no_error() -> None:
    estimate = ratio_of_sums([1, 2, 3], [10, 20, 30])
    assert estimate.low == pytest.approx(0.1)
    assert estimate.high == pytest.approx(0.1)


def test_mean_item_weight_is_in_grams_and_says_what_it_assumes() -> None:
    estimate = mean_item_weight([100, 260], [10, 20], level=0.8)
    assert (estimate.value, estimate.unit, estimate.n, estimate.level) == (12.0, "g", 2, 0.8)
    assert estimate.method == "mean item weight, ratio of sums, t interval"
    assert estimate.assumptions[-1] == "batches hold the same kind of item, empty and dry"


ITEM = Estimate(20.0, 16.0, 25.0, 0.9, "g", "mean item weight", 5, ("a",))


def test_weight_from_count() -> None:
    found = weight_from_count(10, ITEM)
    assert (found.value, found.low, found.high, found.unit) == (200, 160, 250, "g")
    assert (found.level, found.n, found.assumptions[0]) == (0.9, 5, "a")
    with pytest.raises(ValueError, match="count 0 is too small"):
        weight_from_count(0, ITEM)


def test_count_from_weight() -> None:
    found = count_from_weight(400, ITEM)
    assert (found.value, found.low, found.high, found.unit) == (20, 16, 25, "1")
    reaching_zero = Estimate(20.0, 0.0, 25.0, 0.9, "g", "mean item weight", 5, ())
    assert count_from_weight(400, reaching_zero).high == float("inf")
    light = Estimate(0.6, 0.5, 0.8, 0.9, "g", "mean item weight", 5, ())
    assert count_from_weight(2, light).high == 4


@pytest.mark.parametrize("grams", [0, -1, float("inf"), float("nan")])
def test_count_from_no_weight_is_refused(grams: float) -> None:
    with pytest.raises(ValueError, match="must both be above 0"):
        count_from_weight(grams, ITEM)


def test_an_item_weight_of_zero_gives_no_count() -> None:
    nothing = Estimate(0.0, 0.0, 1.0, 0.9, "g", "mean item weight", 5, ())
    with pytest.raises(ValueError, match=r"weight 5 g and item weight 0.0 g must both be above 0"):
        count_from_weight(5, nothing)


def test_item_weights_must_be_in_grams() -> None:
    pounds = Estimate(0.04, 0.03, 0.05, 0.9, "lb", "mean item weight", 5, ())
    with pytest.raises(ValueError, match="item weight is in 'lb': give it in g"):
        weight_from_count(1, pounds)
    with pytest.raises(ValueError, match="item weight is in 'lb': give it in g"):
        count_from_weight(1, pounds)


def test_bounded_shares_agree_with_the_decimal_ones_of_the_report() -> None:
    masses = [
        Mass(Decimal(value), Decimal(low), Decimal(high))
        for value, low, high in [("1", "0.9", "1.1"), ("3", "2", "3.5"), ("0", "0", "0.2")]
    ]
    arrays = shares_with_bounds(
        [[float(m.value_g) for m in masses]],
        [[float(m.low_g) for m in masses]],
        [[float(m.high_g) for m in masses]],
    )
    total = sum_masses(masses)
    for column, mass in enumerate(masses):
        share = share_of(mass, subtract(total, mass))
        assert share is not None
        assert arrays.value[0, column] == pytest.approx(float(share.value))
        assert arrays.low[0, column] == pytest.approx(float(share.low))
        assert arrays.high[0, column] == pytest.approx(float(share.high))


def test_exactly_known_masses_have_exact_shares() -> None:
    shares = shares_with_bounds([1.0, 3.0], [1.0, 3.0], [1.0, 3.0])
    assert shares.low.tolist() == shares.value.tolist() == shares.high.tolist() == [0.25, 0.75]


def test_a_single_category_that_may_be_nothing() -> None:
    shares = shares_with_bounds([1.0], [0.0], [2.0])
    assert (shares.value[0], shares.low[0], shares.high[0]) == (1.0, 0.0, 1.0)


@pytest.mark.parametrize(
    ("values", "lows", "highs", "message"),
    [
        ([1.0, 2.0], [1.0], [1.0, 2.0], "shapes differ or are empty"),
        ([1.0, 2.0], [1.0, 2.0], [1.0], "shapes differ or are empty"),
        (1.0, 1.0, 1.0, "shapes differ or are empty"),
        ([1.0], [1.5], [2.0], "bounds must hold 0 <= low <= value <= high"),
        ([1.0], [0.5], [0.9], "bounds must hold"),
        ([1.0], [-0.5], [2.0], "bounds must hold"),
        ([1.0], [0.5], [np.inf], "bounds must hold"),
        ([0.0], [0.0], [1.0], "a sort has no measured mass: leave it out"),
    ],
)
def test_bounded_shares_refusals(values: object, lows: object, highs: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        shares_with_bounds(values, lows, highs)  # type: ignore[arg-type]
