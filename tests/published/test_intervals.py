"""Intervals against published tables and reference libraries."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import bootstrap
from statsmodels.stats.proportion import proportion_confint

from classifier.estimators.intervals import group_bootstrap, group_bootstrap_ratio, wilson


@pytest.mark.parametrize(
    ("successes", "n", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_code_a_newcombe_1998_wilson_95_percent(
    successes: int, n: int, low: float, high: float
) -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 3 (DOMAIN.md 7.6).

    Arithmetic recomputed with statsmodels (A); the paper's table itself is code C.
    """
    estimate = wilson(successes, n)
    assert estimate.low == pytest.approx(low, abs=5e-5)
    assert estimate.high == pytest.approx(high, abs=5e-5)


@pytest.mark.parametrize("level", [0.8, 0.9, 0.95, 0.99])
@pytest.mark.parametrize(("successes", "n"), [(0, 1), (1, 1), (3, 7), (50, 100), (999, 1000)])
def test_agrees_with_statsmodels(successes: int, n: int, level: float) -> None:
    low, high = proportion_confint(successes, n, alpha=1 - level, method="wilson")
    estimate = wilson(successes, n, level=level)
    assert (estimate.low, estimate.high) == pytest.approx((low, high), abs=1e-12)


def test_groups_of_one_give_the_ordinary_bootstrap_of_scipy() -> None:
    """2 x 20,000 draws: the ends of a 90 % interval agree within their own sampling error."""
    data = np.random.default_rng(3).lognormal(size=60)
    theirs = bootstrap(
        (data,), np.mean, confidence_level=0.9, n_resamples=20_000, method="percentile",
        rng=np.random.default_rng(4),
    ).confidence_interval  # fmt: skip
    ours = group_bootstrap_ratio(data, range(60), level=0.9, draws=20_000)
    general = group_bootstrap(range(60), lambda i: float(data[i].mean()), level=0.9, draws=4_000)
    width = theirs.high - theirs.low
    for estimate, tolerance in ((ours, 0.02), (general, 0.04)):
        assert estimate.low == pytest.approx(theirs.low, abs=tolerance * width)
        assert estimate.high == pytest.approx(theirs.high, abs=tolerance * width)
