"""Prediction-powered means against ppi-python 0.2.3 (DOMAIN.md 7.4, OWN case)."""

from __future__ import annotations

from typing import Literal

import pytest

from classifier.estimators.prediction_powered import prediction_powered_mean

CONFIRMED = [1, 1, 0, 1, 0, 0, 1, 0, 1, 0]
PREDICTED = [1, 0, 0, 1, 0, 1, 1, 0, 1, 0]
REST = [1] * 55 + [0] * 45


@pytest.mark.parametrize(
    ("tuning", "used", "value", "low", "high"),
    [
        (1.0, 1.0, 0.55, 0.303409, 0.796591),
        (0.0, 0.0, 0.50, 0.239926, 0.760074),
        ("auto", 0.545, 0.52725, 0.313984, 0.740516),
    ],
    ids=["PPI", "classical", "PPI++"],
)
def test_own_case_run_with_ppi_python(
    tuning: float | Literal["auto"], used: float, value: float, low: float, high: float
) -> None:
    """OWN data, alpha 0.1; the numbers are those of ppi-python 0.2.3."""
    result = prediction_powered_mean(
        CONFIRMED, PREDICTED, REST, blind=True, tuning=tuning, level=0.9
    )
    assert result.tuning == pytest.approx(used, abs=1e-12)
    estimate = result.estimate
    assert estimate.value == pytest.approx(value, abs=1e-12)
    assert (estimate.low, estimate.high) == pytest.approx((low, high), abs=5e-7)
    assert (result.classical.low, result.classical.high) == pytest.approx(
        (0.239926, 0.760074), abs=5e-7
    )
