"""Orange County, North Carolina, waste composition study 2016-17 (DOMAIN.md 1.3, code A).

Only the few numbers that the check needs are quoted from this public record. Published figures are
rounded to 0.1 point, so that 0.05 is exact agreement; published means are weighted by sample weight
(not published), half-widths are not.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from classifier.estimators.planning import samples_needed
from classifier.estimators.sample_shares import CategoryMeans, shares_of_study
from classifier.estimators.strata import combine_strata

# Single-family homes, fall, 21 samples, per cent by weight.
FALL: dict[str, list[float]] = {
    "food waste": [
        26.2, 18.2, 24.5, 18.2, 36.9, 27.4, 32.7, 28.8, 21.3, 27.4, 28.6,
        24.0, 29.4, 28.0, 15.5, 26.1, 15.4, 18.2, 28.6, 28.5, 18.9,
    ],
    "aluminium cans": [
        0.5, 1.4, 0.7, 1.2, 0.6, 0.1, 0.3, 0.7, 0.1, 0.0, 0.5,
        0.8, 0.2, 0.4, 0.4, 0.7, 0.2, 1.3, 0.5, 0.5, 0.5,
    ],
    "glass bottles and jars": [
        8.1, 2.8, 1.8, 4.6, 2.7, 0.4, 4.1, 1.9, 2.1, 3.9, 2.3,
        2.0, 3.0, 1.1, 2.8, 1.1, 3.4, 2.0, 3.4, 1.6, 2.0,
    ],
    "corrugated": [
        1.9, 1.2, 0.4, 3.5, 0.5, 0.6, 1.5, 3.8, 1.6, 0.5, 0.9,
        2.8, 0.4, 1.3, 1.4, 0.6, 3.3, 8.6, 0.7, 2.2, 1.6,
    ],
}  # fmt: skip


@pytest.mark.parametrize(
    ("category", "mean", "half", "published"),
    [
        ("food waste", 24.895, 2.1769, (25.1, 22.9, 27.3)),
        ("aluminium cans", 0.5524, 0.1436, (0.5, 0.4, 0.7)),
        ("glass bottles and jars", 2.7190, 0.6087, (2.7, 2.1, 3.3)),
        ("corrugated", 1.8714, 0.7020, (1.8, 1.1, 2.5)),
    ],
)
def test_code_a_orange_county_t_intervals(
    category: str, mean: float, half: float, published: tuple[float, float, float]
) -> None:
    values = np.array(FALL[category])
    grams = np.column_stack([values, 100 - values])
    estimate = shares_of_study(grams).intervals(level=0.90)[0]
    ours = 100 * (estimate.high - estimate.low) / 2
    assert estimate.n == 21
    assert 100 * estimate.value == pytest.approx(mean, abs=6e-4)
    assert ours == pytest.approx(half, abs=6e-5)
    _, low, high = published
    # Two ends, each rounded to 0.1: their half-width is within 0.05 of the unrounded one.
    assert ours == pytest.approx((high - low) / 2, abs=0.05)
    # Largest difference by the sample weights that we don't have: DOMAIN.md 1.3.
    assert 100 * estimate.value == pytest.approx(published[0], abs=0.21)


@pytest.mark.parametrize(
    ("mean", "sd", "published"),
    [
        (13.890, 3.780, (12.4, 15.3)),
        (6.014, 1.892, (5.3, 6.7)),
        (5.390, 4.280, (3.8, 7.0)),
        (2.7048, 1.3366, (2.2, 3.2)),
        (1.0905, 1.7969, (0.4, 1.8)),
    ],
    ids=["low-grade paper", "plastic film", "textiles", "plastic bottles", "newspaper"],
)
def test_code_a_orange_county_half_widths_from_standard_deviations(
    mean: float, sd: float, published: tuple[float, float]
) -> None:
    means = CategoryMeans(
        np.array([mean]), np.array([sd**2 / 21]), np.array([20.0]), np.array([21]),
        np.array([False]), 21, "%", "mean of sample shares", (),
    )  # fmt: skip
    estimate = means.intervals()[0]
    low, high = published
    assert (estimate.high - estimate.low) / 2 == pytest.approx((high - low) / 2, abs=0.0501)


@pytest.mark.parametrize(
    ("shares", "published"),
    [
        ((19.6, 26.2, 21.3), 21.2),
        ((12.2, 8.4, 8.3), 10.0),
        ((46.4, 45.2, 46.8), 46.5),
        ((21.8, 20.2, 23.5), 22.4),
        ((25.5, 26.2, 24.9), 25.3),
        ((2.5, 4.9, 2.2), 2.7),
        ((1.6, 2.3, 3.6), 2.6),
    ],
    ids=["program", "potential", "compostables", "other", "food", "glass", "corrugated"],
)
def test_code_a_orange_county_sector_weighting(shares: tuple[float, ...], published: float) -> None:
    """Sectors by tonnage 46, 14 and 40 %; inputs and weights are rounded, hence 0.15 point."""
    one = np.ones(1)
    sectors = [
        CategoryMeans(share * one, 0 * one, 20 * one, one.astype(int), one < 0, 21, "%", "mean", ())
        for share in shares
    ]
    assert combine_strata(sectors, [46, 14, 40]).value == pytest.approx([published], abs=0.15)


@pytest.mark.parametrize(
    ("cv", "samples"),
    [(0.226, 16), (0.250, 19), (0.516, 74), (0.582, 93), (0.685, 129), (0.802, 176), (1.909, 988)],
)
def test_own_samples_needed_for_the_county_s_own_spread(cv: float, samples: int) -> None:
    """Code OWN (DOMAIN.md 1.3), rounded to the nearest there and up here, hence one sample."""
    plan = samples_needed([0.1], [0.1 * cv], ["category"])
    assert abs(plan.samples - samples) <= 1


def test_quantile_of_20_degrees_of_freedom() -> None:
    values = np.array(FALL["food waste"])
    half = stats.t.ppf(0.95, 20) * values.std(ddof=1) / math.sqrt(21)
    assert half == pytest.approx(2.1769, abs=5e-5)
