"""Properties of the study: units, order, one stratum among many, what adds to one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.special import stdtrit

from classifier.estimators._moments import Estimator
from classifier.estimators.logratio import clr, clr_inverse
from classifier.estimators.logratio_summary import logratio_summary, replace_zeros
from classifier.estimators.planning import samples_needed
from classifier.estimators.rates import recovery_rates
from classifier.estimators.sample_shares import shares_of_study
from classifier.estimators.strata import combine_strata, difference
from classifier.estimators.study_bootstrap import bootstrap_study
from classifier.estimators.study_permutation import permutation_test

N, K = 7, 4
masses = arrays(float, (N, K), elements=st.sampled_from([0.0, 0.1, 1, 2.5, 7, 40])).map(
    lambda grams: grams + np.eye(N, K)
)
nonempty = masses.filter(lambda grams: bool((grams.sum(axis=1) > 0).all()))
estimators: st.SearchStrategy[Estimator] = st.sampled_from(
    ("mean of sample shares", "ratio of sums")
)
orders = st.permutations(range(N))


@given(nonempty, estimators, st.floats(0.01, 100))
def test_the_unit_of_mass_does_not_matter(
    grams: np.ndarray, estimator: Estimator, times: float
) -> None:
    one = shares_of_study(grams, estimator=estimator)
    other = shares_of_study(times * grams, estimator=estimator)
    assert one.value == pytest.approx(other.value)
    assert one.variance == pytest.approx(other.variance, abs=1e-15)
    assert one.value.sum() == pytest.approx(1)


@given(nonempty, estimators, orders, st.permutations(range(K)))
def test_the_order_of_sorts_does_not_matter_and_categories_keep_theirs(
    grams: np.ndarray, estimator: Estimator, order: list[int], places: list[int]
) -> None:
    one = shares_of_study(grams, estimator=estimator)
    other = shares_of_study(grams[order][:, places], estimator=estimator)
    assert other.value == pytest.approx(one.value[places])
    assert other.variance == pytest.approx(one.variance[places], abs=1e-15)


@given(nonempty, estimators, st.floats(0.01, 0.99))
def test_a_stratum_split_into_equals_keeps_its_value(
    grams: np.ndarray, estimator: Estimator, part: float
) -> None:
    one = shares_of_study(grams, estimator=estimator)
    both = combine_strata([one, one], [part, 1 - part])
    assert both.value == pytest.approx(one.value)
    assert (both.variance <= one.variance + 1e-15).all()
    assert (difference(one, one).value == 0).all()


@given(nonempty, nonempty, estimators)
def test_exchanging_the_groups_turns_the_difference(
    one: np.ndarray, other: np.ndarray, estimator: Estimator
) -> None:
    there = permutation_test(one, other, estimator=estimator, draws=4000)
    back = permutation_test(other, one, estimator=estimator, draws=4000)
    assert there.exact
    assert there.statistic == pytest.approx(-back.statistic, abs=1e-6)
    assert there.p == pytest.approx(back.p)
    assert (there.p <= there.p_adjusted).all()
    assert (there.p > 0).all()


@given(nonempty, estimators, st.sampled_from(("percentile", "bca")))
def test_bootstrap_ends_are_shares_in_order(
    grams: np.ndarray, estimator: Estimator, interval: str
) -> None:
    estimates = bootstrap_study(
        [grams], estimator=estimator, interval=interval, draws=100  # type: ignore[arg-type]
    )  # fmt: skip
    for each in estimates:
        assert -1e-12 <= each.low <= each.high <= 1 + 1e-12


@given(arrays(float, 5, elements=st.floats(-20, 20)))
def test_centred_coordinates_come_back(coordinates: np.ndarray) -> None:
    centred = coordinates - coordinates.mean()
    assert clr(clr_inverse(coordinates)) == pytest.approx(centred, abs=1e-6)


@given(nonempty, st.floats(0.01, 100))
def test_the_centre_ignores_the_mass_of_sorts(grams: np.ndarray, times: float) -> None:
    factors = np.linspace(1, 1 + times, N)[:, None]
    one, other = logratio_summary(grams), logratio_summary(factors * grams)
    assert one.centre == pytest.approx(other.centre)
    assert one.centre.sum() == pytest.approx(1)
    assert one.total_variance == pytest.approx(one.variation.sum() / (2 * K), abs=1e-9)


@given(nonempty)
def test_replacing_zeros_leaves_fractions(grams: np.ndarray) -> None:
    filled = replace_zeros(grams)
    assert (filled > 0).all()
    assert filled.sum(axis=1) == pytest.approx(1)
    assert clr_inverse(np.log(filled)) == pytest.approx(filled)


@given(st.floats(0.001, 50), st.floats(0.5, 0.999), st.floats(0.02, 2))
def test_planned_samples_are_enough_and_not_many_more(
    cv: float, level: float, precision: float
) -> None:
    n = samples_needed([0.1], [0.1 * cv], ["c"], precision=precision, level=level).samples

    def half(samples: int) -> float:
        return float(stdtrit(samples - 1, 0.5 + level / 2) * cv / np.sqrt(samples))

    assert half(n) <= precision * (1 + 1e-9)
    assert n <= 4 or half(n - 2) > precision


@given(arrays(float, (4, 6), elements=st.floats(0.1, 100)))
def test_rates_hang_together(streams: np.ndarray) -> None:
    rates = recovery_rates(*streams)
    clean = 1 - rates.contamination.value
    assert rates.net_diversion.value == pytest.approx(rates.gross_diversion.value * clean)
    assert 0 < rates.capture.value < 1
