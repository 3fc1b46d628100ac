from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from classifier.estimators._moments import Estimator
from classifier.estimators.rates import recovery_potential, recovery_rates
from classifier.estimators.sample_shares import shares_of_study
from classifier.estimators.strata import combine_strata
from tests.unit.study.study_cases import ratio_of_sums

ACCEPTED, NOT_ACCEPTED = [4.0, 6.0, 5.0, 0.0], [1.0, 0.0, 2.0, 1.0]
MISSED, OTHER = [2.0, 5.0, 0.0, 0.0], [9.0, 8.0, 12.0, 9.0]


def test_rates_are_ratios_of_sums() -> None:
    rates = recovery_rates(ACCEPTED, NOT_ACCEPTED, MISSED, OTHER, level=0.95)
    assert rates.contamination.value == pytest.approx(4 / 19)
    assert rates.capture.value == pytest.approx(15 / 22)
    assert rates.gross_diversion.value == pytest.approx(19 / 64)
    assert rates.net_diversion.value == pytest.approx(15 / 64)
    alone = ratio_of_sums(ACCEPTED, np.sum([ACCEPTED, NOT_ACCEPTED, MISSED, OTHER], 0), level=0.95)
    assert (rates.net_diversion.low, rates.net_diversion.high) == pytest.approx(alone[1:])
    assert rates.capture.method == "capture: ratio of sums, t interval"
    assert (rates.capture.n, rates.capture.level, rates.capture.unit) == (4, 0.95, "1")


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


def test_rates_of_strata_are_combined_ratios() -> None:
    """Worked by hand: flats 1/4 and houses 3/4 of the mass, shares by ratios of sums."""
    rows = [np.array([0, 1]), np.array([2, 3])]
    given = ([4.0, 6.0, 5.0, 1.0], NOT_ACCEPTED, MISSED, OTHER)
    capture = recovery_rates(*given, strata=rows, weights=[10, 30]).capture
    whole = np.sum(given, axis=0)
    a = np.array([10 / whole[:2].sum(), 6 / whole[2:].sum()])  # accepted, of everything
    am = np.array([17 / whole[:2].sum(), 6 / whole[2:].sum()])  # with what was missed
    parts = np.array([0.25, 0.75])
    value = parts @ a / (parts @ am)
    assert capture.value == pytest.approx(value)
    assert capture.value != pytest.approx(recovery_rates(*given).capture.value)
    z = np.array(given[0]) - value * (np.array(given[0]) + MISSED)
    terms = []
    for part, own in zip(parts, rows, strict=True):
        ratio = z[own].sum() / whole[own].sum()
        residual = z[own] - ratio * whole[own]
        terms.append(part**2 * (residual @ residual) / 2 / whole[own].mean() ** 2)
    df = sum(terms) ** 2 / sum(term**2 for term in terms)
    half = stats.t.ppf(0.95, df) * np.sqrt(sum(terms)) / (parts @ am)
    assert (capture.low, capture.high) == pytest.approx((value - half, value + half))
    assert capture.method == "capture: ratio of sums, 2 strata, t interval"
    assert "weights of the strata are known without error" in capture.assumptions


@pytest.mark.parametrize("estimator", ["mean of sample shares", "ratio of sums"])
def test_the_potential_of_strata_is_the_share_of_what_is_accepted(estimator: Estimator) -> None:
    grams = np.array([[2.0, 8.0], [3.0, 5.0], [9.0, 1.0], [1.0, 1.0], [4.0, 2.0]])
    rows = [np.array([0, 1]), np.array([2, 3, 4])]
    found = recovery_potential(
        grams, [1, 0], [1, 1], estimator=estimator, strata=rows, weights=[2, 1]
    )  # fmt: skip
    parts = [shares_of_study(grams[own], estimator=estimator) for own in rows]
    expected = combine_strata(parts, [2, 1]).intervals()[0]
    for now, wanted in zip(
        (found.now.value, found.now.low, found.now.high),
        (expected.value, expected.low, expected.high),
        strict=True,
    ):
        assert now == pytest.approx(wanted)
    assert found.then.value == pytest.approx(1)
    assert found.change.value == pytest.approx(1 - expected.value)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: recovery_rates([0, 0], [0, 0], [0, 0], [0, 0]), "all masses are 0"),
        (
            lambda: recovery_rates(*[[1, 1, 1]] * 4, strata=[np.array([0])], weights=[1]),
            "number of samples in a stratum 1 is too small",
        ),
        (
            lambda: recovery_rates(*[[1, 1]] * 4, strata=[np.array([0, 1])]),
            "weights has shape",
        ),
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
        (lambda: recovery_potential([[1, 1], [1, 1]], [1], [1, 0]), "lengths differ"),
        (lambda: recovery_potential([[1, 1], [1, 1]], [2, 0], [1, 0]), "now holds other values"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
