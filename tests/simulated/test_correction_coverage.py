"""Simulated coverage of the corrections' 95 % intervals: 2,000 seeded sorts each, slow.

Eight categories from 30 % to 2 %; a model right for four in five and swayed by what is common.
Two-sided: an interval that is needlessly wide fails too. Where coverage falls short of 95 by more
than 1.5 points, the shortfall found here is the one that the documentation states, and it is held
to that number.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from classifier.estimators.agreement import cohen_kappa
from classifier.estimators.corrected import Correction
from classifier.estimators.corrections import pool_sparse_strata, post_stratified_counts
from classifier.estimators.krippendorff import krippendorff_alpha

pytestmark = pytest.mark.slow

STUDIES = 2000
SHARES = np.array([0.30, 0.22, 0.16, 0.12, 0.09, 0.06, 0.03, 0.02])
K = SHARES.size
NAMES = [f"category {i}" for i in range(K)]
_BIAS = np.sqrt(SHARES) / np.sqrt(SHARES).sum()
RATES = 0.25 * _BIAS[:, None] + 0.75 * np.eye(K)  # P(predicted = row | true = column)
# 2,000 studies give a share of 0.95 to within 0.5 points (one standard error); the mean over eight
# categories to within about 0.2.
TOLERANCE = 0.015


def labelled(generator: np.random.Generator, truth: np.ndarray) -> np.ndarray:
    """Return a label of each item by the error rates."""
    above = generator.random(truth.size) > RATES.cumsum(axis=0)[:, truth]
    return np.asarray(np.minimum(above.sum(axis=0), K - 1))


def holds(correction: Correction, target: np.ndarray) -> np.ndarray:
    """Return whether the interval of each share holds the target."""
    low, high = np.array([(share.low, share.high) for share in correction.shares]).T
    return np.asarray((low <= target + 1e-9) & (target <= high + 1e-9))


def sort(
    generator: np.random.Generator, n: int, audits: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return truth and prediction of each item, the audited items and the others."""
    truth = generator.choice(K, n, p=SHARES)
    order = generator.permutation(n)
    return truth, labelled(generator, truth), order[:audits], order[audits:]


@pytest.mark.parametrize(
    ("n", "audits", "population", "interval", "mean", "rarest"),
    [
        (1000, 100, "finite", "wilson", 0.95, 0.95),
        (300, 60, "finite", "wilson", 0.95, 0.935),
        (400, 200, "finite", "wilson", 0.95, 0.935),
        (1000, 100, "sampled", "wilson", 0.963, 0.966),
        # As published: fine for common categories, far short for rare ones.
        (1000, 100, "finite", "normal", 0.89, 0.76),
        (300, 60, "finite", "normal", 0.834, 0.62),
        (1000, 100, "sampled", "normal", 0.912, 0.816),
    ],
)
def test_post_stratified(
    n: int, audits: int, population: Any, interval: Any, mean: float, rarest: float
) -> None:
    generator = np.random.default_rng(2)
    held = np.zeros(K)
    for _ in range(STUDIES):
        truth, predicted, seen, _ = sort(generator, n, audits)
        table = np.zeros((K, K))
        np.add.at(table, (predicted[seen], truth[seen]), 1)
        pooled = pool_sparse_strata(table, np.bincount(predicted, minlength=K), strata=NAMES)
        correction = post_stratified_counts(
            pooled.confusion,
            pooled.stratum_counts,
            categories=NAMES,
            strata=pooled.strata,
            blind=True,
            population=population,
            interval=interval,
        )
        actual = np.bincount(truth, minlength=K) / n
        held += holds(correction, actual if population == "finite" else SHARES)
    coverage = held / STUDIES
    assert coverage.mean() == pytest.approx(mean, abs=TOLERANCE)
    assert coverage[-1] == pytest.approx(rarest, abs=TOLERANCE + 0.01)


@pytest.mark.parametrize(("items", "coverage"), [(20, 0.925), (50, 0.94), (100, 0.95)])
def test_agreement(items: int, coverage: float) -> None:
    """Two people with the same error rates; their kappa and nominal alpha are one number."""
    pairs = RATES @ np.diag(SHARES) @ RATES.T
    shares = pairs.sum(axis=0)
    target = (np.trace(pairs) - shares @ shares) / (1 - shares @ shares)
    generator = np.random.default_rng(6)
    held = np.zeros(2)
    for seed in range(STUDIES):
        truth = generator.choice(K, items, p=SHARES)
        first, second = labelled(generator, truth), labelled(generator, truth)
        options: dict[str, Any] = {"blind": True, "draws": 500, "seed": seed}
        for i, estimate in enumerate(
            (
                cohen_kappa([NAMES[v] for v in first], [NAMES[v] for v in second], **options),
                krippendorff_alpha([first.tolist(), second.tolist()], **options),
            )
        ):
            held[i] += estimate.low <= target <= estimate.high
    assert held / STUDIES == pytest.approx(coverage, abs=TOLERANCE)
