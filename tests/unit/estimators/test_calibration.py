from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

from classifier.estimators.abstention import auroc, risk_coverage, selective_accuracy
from classifier.estimators.calibration import expected_calibration_error, reliability


def test_an_edge_belongs_to_the_bin_below_it() -> None:
    table = reliability([0.0, 0.2, 0.2000001, 1.0], [0, 1, 1, 1], bins=5)
    assert table.n.tolist() == [2, 1, 0, 0, 1]
    assert table.lower.tolist() == pytest.approx([0, 0.2, 0.4, 0.6, 0.8])
    assert table.upper.tolist() == pytest.approx([0.2, 0.4, 0.6, 0.8, 1])
    assert table.confidence.tolist() == pytest.approx([0.1, 0.2000001, 0, 0, 1])
    assert table.accuracy.tolist() == [0.5, 1, 0, 0, 1]


def test_calibration_error_of_perfect_and_of_worst_confidence() -> None:
    assert expected_calibration_error([1, 1, 0], [1, 1, 0]) == 0
    assert expected_calibration_error([1, 1, 1], [0, 0, 0]) == 1


def test_the_number_of_bins_matters() -> None:
    confidence, correct = [0.55, 0.95], [1, 1]
    assert expected_calibration_error(confidence, correct, bins=1) == pytest.approx(0.25)
    assert expected_calibration_error([0.1, 0.9], [1, 0], bins=1) == 0
    assert expected_calibration_error([0.1, 0.9], [1, 0]) == pytest.approx(0.9)


def test_calibration_refusals() -> None:
    with pytest.raises(ValueError, match="confidence ranges from"):
        reliability([1.5], [1])
    with pytest.raises(ValueError, match="correct holds other values"):
        reliability([0.5], [0.5])
    with pytest.raises(ValueError, match="lengths differ"):
        reliability([0.5, 0.6], [1])
    with pytest.raises(ValueError, match="bins 0 is too small"):
        reliability([0.5], [1], bins=0)


def test_risk_among_equal_confidences_is_spread_evenly() -> None:
    curve = risk_coverage([0.9, 0.5, 0.5, 0.5], [1, 0, 1, 1])
    assert curve.coverage.tolist() == [0.25, 0.5, 0.75, 1]
    assert curve.risk.tolist() == pytest.approx([0, 1 / 6, 2 / 9, 1 / 4])


def test_selective_accuracy_answers_ties_too() -> None:
    confidence, correct = [0.9, 0.8, 0.8, 0.1], [1, 1, 0, 0]
    found = selective_accuracy(confidence, correct, coverage=0.5)
    assert (found.threshold, found.coverage) == (0.8, 0.75)
    assert found.accuracy.value == pytest.approx(2 / 3)
    assert found.accuracy.n == 3
    everything = selective_accuracy(confidence, correct, coverage=1, level=0.5)
    assert (everything.coverage, everything.accuracy.value) == (1, 0.5)
    assert everything.accuracy.level == 0.5
    assert selective_accuracy(confidence, correct, coverage=1e-12).accuracy.n == 1


def test_selective_accuracy_does_not_stumble_over_float_products() -> None:
    confidence = np.linspace(1, 0, 100)
    found = selective_accuracy(confidence, np.ones(100), coverage=0.07)
    assert found.accuracy.n == 7


@pytest.mark.parametrize("coverage", [0, -0.1, 1.1, float("nan")])
def test_coverage_is_a_part(coverage: float) -> None:
    with pytest.raises(ValueError, match=r"coverage .* must be above 0 and at most 1"):
        selective_accuracy([0.5], [1], coverage=coverage)


def test_auroc_agrees_with_scikit_learn_ties_included() -> None:
    rng = np.random.default_rng(7)
    scores = rng.integers(0, 10, size=200) / 10
    positive = rng.random(200) < scores
    assert auroc(scores, positive) == pytest.approx(roc_auc_score(positive, scores))


def test_auroc_needs_both_kinds() -> None:
    with pytest.raises(ValueError, match="0 of 2 are positive: give at least one of each kind"):
        auroc([0.1, 0.2], [0, 0])
    with pytest.raises(ValueError, match="2 of 2 are positive"):
        auroc([0.1, 0.2], [1, 1])
