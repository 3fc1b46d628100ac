from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from classifier.estimators.rates import capture_of_streams, recovery_potential, recovery_rates
from classifier.estimators.ratio import ratio_of_sums
from classifier.estimators.strata import Amount
from classifier.estimators.study import shares_of_study

ACCEPTED, NOT_ACCEPTED = [4.0, 6.0, 5.0, 0.0], [1.0, 0.0, 2.0, 1.0]
MISSED, OTHER = [2.0, 5.0, 0.0, 0.0], [9.0, 8.0, 12.0, 9.0]


def test_rates_are_ratios_of_sums() -> None:
    rates = recovery_rates(ACCEPTED, NOT_ACCEPTED, MISSED, OTHER, level=0.95)
    assert rates.contamination.value == pytest.approx(4 / 19)
    assert rates.capture.value == pytest.approx(15 / 22)
    assert rates.gross_diversion.value == pytest.approx(19 / 64)
    assert rates.net_diversion.value == pytest.approx(15 / 64)
    alone = ratio_of_sums(ACCEPTED, np.sum([ACCEPTED, NOT_ACCEPTED, MISSED, OTHER], 0), level=0.95)
    assert (rates.net_diversion.low, rates.net_diversion.high) == pytest.approx(
        (alone.low, alone.high)
    )
    assert rates.capture.method == "capture: ratio of sums, t interval"
    assert (rates.capture.n, rates.capture.level, rates.capture.unit) == (4, 0.95, "1")


def test_streams_sampled_apart_stay_within_0_and_1() -> None:
    """A = 90 +- 9, M = 10 +- 2, t of infinitely many degrees: worked on the logit by hand."""
    estimate = capture_of_streams(Amount(90, 9, "t"), Amount(10, 2, "t"), n=40)
    half = stats.norm.ppf(0.95) * np.sqrt(0.01 + 0.04)
    odds = 9 * np.exp([-half, half])
    assert (estimate.low, estimate.high) == pytest.approx(tuple(odds / (1 + odds)))
    assert (estimate.value, estimate.n) == (0.9, 40)
    few = capture_of_streams(Amount(90, 9, "t", df=4), Amount(10, 2, "t", df=4), n=10)
    df = 0.05**2 / (0.01**2 / 4 + 0.04**2 / 4)
    assert few.high == pytest.approx(1 / (1 + np.exp(-stats.t.ppf(0.95, df) * 0.05**0.5) / 9))
    known = capture_of_streams(Amount(90, 0, "t"), Amount(10, 0, "t"), n=10, level=0.99)
    assert (known.low, known.high) == pytest.approx((0.9, 0.9))


def test_another_list_changes_the_potential_by_what_it_adds() -> None:
    grams = [[2.0, 1.0, 7.0, 4.0], [2.0, 3.0, 5.0, 0.0], [9.0, 1.0, 1.0, 1.0]]
    answer = recovery_potential(grams, [1, 0, 0, 1], [1, 1, 0, 0], level=0.95)
    assert answer.now.value == pytest.approx(18 / 36)
    assert answer.then.value == pytest.approx(18 / 36)
    assert answer.change.value == pytest.approx(0)
    assert answer.change.low < 0 < answer.change.high
    study = shares_of_study(grams, estimator="ratio of sums").intervals(level=0.95)
    only = recovery_potential(grams, [0, 0, 0, 0], [0, 1, 0, 0], level=0.95)
    assert (only.change.low, only.change.high) == pytest.approx((study[1].low, study[1].high))
    assert (only.now.value, only.now.high) == (0, 0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: recovery_rates([1], [1], [1], [1]), "number of samples 1 is too small"),
        (lambda: recovery_rates([1, 1], [1], [1, 1], [1, 1]), "lengths differ"),
        (
            lambda: recovery_rates([1, -1], [1, 1], [1, 1], [1, 1]),
            r"accepted goes down to -1.0: no mass may be below 0",
        ),
        (
            lambda: recovery_rates([0, 0], [0, 0], [1, 1], [1, 1]),
            "contamination has nothing to be a part of",
        ),
        (
            lambda: recovery_rates([0, 0], [1, 1], [0, 0], [1, 1]),
            "capture has nothing to be a part of",
        ),
        (lambda: recovery_rates([1, 1], [1, 1], [1, 1], [1, 1], level=5), "level 5 is not between"),
        (
            lambda: capture_of_streams(Amount(1, 0, "t"), Amount(1, 0, "kg"), n=5),
            "units differ: 't' and 'kg'",
        ),
        (
            lambda: capture_of_streams(Amount(1, 0, "t"), Amount(1, 0, "t"), n=1),
            "number of sorts 1 is too small",
        ),
        (lambda: recovery_potential([[1, 1], [1, 1]], [1], [1, 0]), "lengths differ"),
        (lambda: recovery_potential([[1, 1], [1, 1]], [2, 0], [1, 0]), "now holds other values"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
