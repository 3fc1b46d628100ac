"""Properties of the estimators: scaling, permutation, invariance of ranks."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from classifier.estimators.abstention import auroc, risk_coverage, selective_accuracy
from classifier.estimators.calibration import expected_calibration_error
from classifier.estimators.composition import shares_with_bounds
from classifier.estimators.intervals import group_bootstrap_ratio, wilson
from classifier.inference.preprocess import view_probabilities

N = 30
confidences = arrays(float, N, elements=st.sampled_from([0.1, 0.35, 0.5, 0.61, 0.9, 1.0]))
outcomes = arrays(bool, N)
orders = st.permutations(range(N))


@given(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_wilson_mirrors_and_stays_within_0_and_1(case: tuple[int, int]) -> None:
    x, n = case
    one, other = wilson(x, n), wilson(n - x, n)
    assert 0 <= one.low <= one.value <= one.high <= 1
    assert one.low == pytest.approx(1 - other.high, abs=1e-12)


@given(arrays(float, (3, 4), elements=st.floats(0.1, 100)), st.floats(0.01, 100))
def test_bounded_shares_ignore_the_unit_and_enclose_the_value(
    masses: np.ndarray, times: float
) -> None:
    one = shares_with_bounds(masses, masses * 0.9, masses * 1.2)
    other = shares_with_bounds(masses * times, masses * 0.9 * times, masses * 1.2 * times)
    assert one.value.sum(axis=1) == pytest.approx(1)
    assert (one.low < one.value).all()
    assert (one.value < one.high).all()
    assert other.low == pytest.approx(one.low)
    assert other.high == pytest.approx(one.high)


@given(confidences, outcomes, orders)
def test_the_order_of_predictions_does_not_matter(
    confidence: np.ndarray, correct: np.ndarray, order: list[int]
) -> None:
    shuffled, outcome = confidence[order], correct[order]
    assert expected_calibration_error(shuffled, outcome) == pytest.approx(
        expected_calibration_error(confidence, correct)
    )
    assert risk_coverage(shuffled, outcome).risk == pytest.approx(
        risk_coverage(confidence, correct).risk
    )
    assert selective_accuracy(shuffled, outcome, coverage=0.4) == selective_accuracy(
        confidence, correct, coverage=0.4
    )


@given(confidences, outcomes)
def test_only_the_order_of_confidences_matters_for_abstention(
    confidence: np.ndarray, correct: np.ndarray
) -> None:
    monotone = np.exp(3 * confidence)
    assert risk_coverage(monotone, correct).area == pytest.approx(
        risk_coverage(confidence, correct).area
    )
    assume(0 < correct.sum() < N)
    assert auroc(monotone, correct) == auroc(confidence, correct)
    assert auroc(-confidence, correct) == pytest.approx(1 - auroc(confidence, correct))


@given(confidences, outcomes)
def test_the_whole_set_has_the_error_rate_as_its_risk(
    confidence: np.ndarray, correct: np.ndarray
) -> None:
    curve = risk_coverage(confidence, correct)
    assert curve.risk[-1] == pytest.approx(1 - correct.mean())
    assert curve.coverage[-1] == 1
    assert 0 <= expected_calibration_error(confidence, correct) <= 1


@given(arrays(int, (8, 5), elements=st.integers(-20, 20)), st.floats(0.05, 20))
def test_a_temperature_keeps_the_top_class(logits: np.ndarray, temperature: float) -> None:
    """Guo et al. 2017, section 4.2: the top class, and so the accuracy, can't change."""
    probability = view_probabilities(logits[:, None], temperature)  # one view each
    assert probability.sum(axis=1) == pytest.approx(1)
    top = np.take_along_axis(logits, probability.argmax(axis=1)[:, None], axis=1)[:, 0]
    assert (top == logits.max(axis=1)).all()


@given(arrays(float, 12, elements=st.floats(0, 100)), st.floats(0.1, 10))
def test_the_bootstrap_scales_with_its_numerators(values: np.ndarray, times: float) -> None:
    groups = np.arange(12) // 3
    one = group_bootstrap_ratio(values, groups, draws=100)
    other = group_bootstrap_ratio(times * values, groups, draws=100)
    assert other.low == pytest.approx(times * one.low)
    assert other.high == pytest.approx(times * one.high)
