from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from classifier.estimators.pilot import pilot_sd_error, precision_curve
from classifier.estimators.planning import samples_needed

NAMES = ["food", "glass", "cans"]
MEANS, SDS = [0.30, 0.05, 0.01], [0.06, 0.04, 0.02]


def test_the_category_that_decides_is_named() -> None:
    plan = samples_needed(MEANS, SDS, NAMES)
    assert plan.deciding.name == "cans"
    assert plan.samples == plan.deciding.samples == max(each.samples for each in plan.categories)
    assert [each.name for each in plan.categories] == NAMES
    assert (plan.precision, plan.basis, plan.level, plan.left_out) == (0.10, "relative", 0.90, ())


def test_points_of_the_whole_ask_most_of_the_large_category() -> None:
    plan = samples_needed(MEANS, SDS, NAMES, precision=0.01, basis="absolute")
    assert plan.deciding.name == "food"
    n = plan.samples
    assert stats.t.ppf(0.95, n - 1) * 0.06 / math.sqrt(n) <= 0.01
    assert stats.t.ppf(0.95, n - 3) * 0.06 / math.sqrt(n - 2) > 0.01


def test_precision_and_level_cost_samples() -> None:
    usual = samples_needed(MEANS, SDS, NAMES).samples
    assert samples_needed(MEANS, SDS, NAMES, precision=0.05).samples > 3 * usual
    assert samples_needed(MEANS, SDS, NAMES, level=0.95).samples > usual


def test_never_found_is_left_out_and_constant_needs_two() -> None:
    plan = samples_needed([0.0, 0.2], [0.0, 0.0], ["wood", "food"])
    assert plan.left_out == ("wood",)
    assert (plan.samples, plan.deciding.settled) == (2, True)
    assert samples_needed([0.2], [0.002], ["food"]).samples == 2


def test_where_passes_go_back_and_forth_the_number_is_found_by_halving() -> None:
    """Mixed paper of D5231 at e = 0.20: 5, 6, 5, ... at the t of a rounded number."""
    line = samples_needed([0.22], [0.05], ["mixed paper"], precision=0.20).deciding
    assert (line.settled, line.samples, len(line.passes)) == (False, 6, 20)
    assert sorted({round(each, 2) for each in line.passes[-2:]}) == [5.24, 5.87]


def test_a_small_pilot_knows_its_spread_badly() -> None:
    assert pilot_sd_error(3) == 0.5


def test_curve_meets_the_plan() -> None:
    plan = samples_needed(MEANS, SDS, NAMES)
    samples = [each.samples for each in plan.categories]
    curve = precision_curve(MEANS, SDS, samples)
    assert curve.shape == (3, 3)
    assert (np.diag(curve) <= 0.10).all()
    absolute = precision_curve(MEANS, SDS, [5], basis="absolute", level=0.95)
    assert absolute[0, 0] == pytest.approx(2.776445 * 0.06 / math.sqrt(5))
    assert precision_curve([0.0], [0.0], [5], basis="absolute").tolist() == [[0.0]]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"means": [0.3, -0.1, 0.1]}, "means and standard deviations must not be below 0"),
        ({"sds": [0.3, -0.1, 0.1]}, "means and standard deviations must not be below 0"),
        ({"sds": [0.3]}, "lengths differ"),
        ({"names": ["food"]}, "lengths differ"),
        ({"means": [0, 0, 0]}, "no category has a mean above 0"),
        ({"precision": 0.0}, "precision 0.0 must be above 0: write 0.10 for 10 %"),
        ({"precision": math.inf}, "precision inf must be above 0"),
        ({"precision": 1e-7}, r"food needs more than 1000000000 samples: ask for less precision"),
        ({"basis": "points"}, "basis 'points' is not known"),
        ({"level": 90}, "level 90 is not between 0 and 1"),
    ],
)
def test_refusals(options: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        samples_needed(**{"means": MEANS, "sds": SDS, "names": NAMES, **options})  # type: ignore[arg-type]


def test_refusals_of_pilot_and_curve() -> None:
    with pytest.raises(ValueError, match="number of samples 1 is too small"):
        pilot_sd_error(1)
    with pytest.raises(ValueError, match=r"samples go down to 1.0: give at least 2 each"):
        precision_curve(MEANS, SDS, [1, 5])
    with pytest.raises(ValueError, match="a mean is 0: leave the category out"):
        precision_curve([0.0], [0.1], [5])
    with pytest.raises(ValueError, match="basis 'points' is not known"):
        precision_curve(MEANS, SDS, [5], basis="points")  # type: ignore[arg-type]
