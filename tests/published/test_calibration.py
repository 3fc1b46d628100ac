"""Calibration and abstention against published and reference cases (DOMAIN.md 8.3, 8.4)."""

from __future__ import annotations

import numpy as np
import pytest
import torch
from torchmetrics.functional.classification import binary_calibration_error

from classifier.estimators.abstention import risk_coverage
from classifier.estimators.calibration import expected_calibration_error

PREDICTIONS = [0.25, 0.25, 0.55, 0.75, 0.75]
TARGETS = [0, 0, 1, 1, 1]


def test_code_c_torchmetrics_documentation_case() -> None:
    """torchmetrics, BinaryCalibrationError, n_bins=2, norm l1: 0.2900."""
    error = expected_calibration_error(PREDICTIONS, TARGETS, bins=2)
    assert error == pytest.approx(0.29, abs=5e-5)


@pytest.mark.parametrize("bins", [2, 10, 15])
def test_agrees_with_torchmetrics_itself(bins: int) -> None:
    """Random confidences never lie on an edge, where the two count bins differently."""
    rng = np.random.default_rng(11)
    confidence, correct = rng.random(500), rng.random(500) < 0.6
    theirs = binary_calibration_error(
        torch.tensor(confidence), torch.tensor(correct.astype(int)), n_bins=bins, norm="l1"
    )
    ours = expected_calibration_error(confidence, correct, bins=bins)
    # torchmetrics works in float32.
    assert ours == pytest.approx(float(theirs), abs=1e-5)


def test_own_risk_coverage_case_by_hand() -> None:
    """OWN: confidence .9 .8 .7 .6 .5, right 1 1 0 1 0 -> risks 0, 0, 1/3, 1/4, 2/5."""
    curve = risk_coverage([0.9, 0.8, 0.7, 0.6, 0.5], [1, 1, 0, 1, 0])
    assert curve.risk.tolist() == pytest.approx([0, 0, 1 / 3, 1 / 4, 2 / 5])
    assert curve.area == pytest.approx(0.19667, abs=5e-6)
