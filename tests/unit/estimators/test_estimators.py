from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from classifier.estimators.composition import shares_with_bounds
from classifier.estimators.intervals import group_bootstrap, group_bootstrap_ratio, wilson
from classifier.log.quantities import Mass, sum_masses
from classifier.report.shares import share_of, subtract

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
        assert share.low is not None
        assert share.high is not None
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
