from __future__ import annotations

import math

import pytest

from classifier.estimators.conversion import ItemWeightFit, fit_item_weight
from classifier.estimators.far_batches import far_batches


def test_ratio_jackknife_and_degrees_of_freedom_by_hand() -> None:
    fit = fit_item_weight([186.7, 373.3, 300], [10, 20, 15])
    assert fit.item_g == pytest.approx(860 / 45)
    left = [math.log(673.3 / 35), math.log(486.7 / 25), math.log(560 / 30)]
    mean = sum(left) / 3
    assert fit.error**2 == pytest.approx(2 / 3 * sum((x - mean) ** 2 for x in left))
    assert fit.df == pytest.approx(45**2 / (100 + 400 + 225) - 1)
    assert (fit.n, fit.typical_count, fit.level) == (3, 15, 0.90)


def test_one_large_batch_among_small_ones_leaves_one_degree_of_freedom() -> None:
    assert fit_item_weight([20, 20_000], [1, 1000]).df == 1


def test_a_small_batch_is_less_certain_for_its_size_than_a_large_one() -> None:
    fit = fit_item_weight([190, 390, 280, 210], [10, 20, 15, 10])
    one, many = fit.weight_of(1), fit.weight_of(10_000)
    assert one.high / one.value > many.high / many.value > fit.mean().high / fit.mean().value
    assert "batch is one of the same sort" in one.assumptions[-1]


def test_count_and_weight_are_each_others_inverse() -> None:
    fit = fit_item_weight([190, 390, 280, 210], [10, 20, 15, 10])
    weight = fit.weight_of(40)
    count = fit.count_of(weight.value)
    assert count.value == pytest.approx(40)
    assert count.high / count.value == pytest.approx(weight.value / weight.low)
    assert (count.unit, weight.unit) == ("1", "g")


def test_the_bounds_of_the_scale_widen_a_count() -> None:
    fit = fit_item_weight([190, 390, 280, 210], [10, 20, 15, 10])
    bare, bounded = fit.count_of(100), fit.count_of(100, 90, 110)
    assert bounded.low == pytest.approx(0.9 * bare.low)
    assert bounded.high == pytest.approx(1.1 * bare.high)


def test_an_interval_that_says_anything_stays_a_number() -> None:
    fit = fit_item_weight([1, 10_000], [1, 1], level=0.9999)
    assert math.isfinite(fit.mean().high)
    assert fit.mean().low > 0


@pytest.mark.parametrize(
    ("grams", "counts", "message"),
    [
        ([100], [5], "number of batches 1 is too small"),
        ([100, 0], [5, 5], "weights go down to 0.0 g"),
        ([100, 10], [5, 0.5], "counts to 0.5"),
        ([100, 10], [5, 5, 5], "lengths differ"),
    ],
)
def test_what_is_no_batch_is_refused(grams: list[float], counts: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        fit_item_weight(grams, counts)


@pytest.mark.parametrize(
    ("grams", "low", "high"), [(0, None, None), (10, 11, 12), (10, 1, 9), (10, 1, math.inf)]
)
def test_a_weight_outside_its_bounds_is_refused(
    grams: float, low: float | None, high: float | None
) -> None:
    fit = fit_item_weight([100, 90], [5, 5])
    with pytest.raises(ValueError, match="give a weight above 0 within its bounds"):
        fit.count_of(grams, low, high)


def test_less_than_one_item_is_refused() -> None:
    fit: ItemWeightFit = fit_item_weight([100, 90], [5, 5])
    with pytest.raises(ValueError, match="count 0 is too small"):
        fit.weight_of(0)


def test_a_far_batch_is_named_with_the_range_of_the_others() -> None:
    (found,) = far_batches([180, 375, 190, 92, 300, 900], [10, 20, 10, 5, 15, 10])
    assert (found.place, found.others, found.item_g) == (5, 5, pytest.approx(90))
    assert found.low_g < found.usual_g < found.high_g < found.item_g
    assert found.factor == pytest.approx(90 / found.usual_g)


def test_only_the_batches_asked_for_are_judged() -> None:
    grams, counts = [100.0, 100, 100, 100, 100, 151], [10.0] * 6
    assert far_batches(grams, counts, places=[0, 1]) == ()
    assert [each.place for each in far_batches(grams, counts, places=[5])] == [5]


def test_four_batches_judge_nobody() -> None:
    assert far_batches([180, 375, 190, 9000], [10, 20, 10, 5]) == ()


def test_batches_within_half_again_are_never_far() -> None:
    assert far_batches([100, 100, 100, 100, 100, 149], [10] * 6) == ()
    assert len(far_batches([100, 100, 100, 100, 100, 151], [10] * 6)) == 1
