"""Counts corrected by a verified part, against published cases (DOMAIN.md 7.1, 7.4)."""

from __future__ import annotations

import numpy as np
import pytest

from classifier.estimators.corrections import post_stratified_counts
from classifier.estimators.result import Estimate

# The sources print ± 1.96 standard errors; ours uses 1.959964.
Z = 1.959963984540054
OLOFSSON_2014 = [[66, 0, 5, 4], [0, 55, 8, 12], [1, 0, 153, 11], [2, 1, 9, 313]]
PIXELS_2014 = [200_000, 150_000, 3_200_000, 6_450_000]
OLOFSSON_2013 = [[97, 0, 3], [3, 279, 18], [2, 1, 97]]
HECTARES_2013 = [22_353, 1_122_543, 610_228]


def error(estimate: Estimate) -> float:
    return (estimate.high - estimate.low) / 2 / Z


@pytest.mark.parametrize(
    ("row", "share", "share_error", "pixels", "pixel_error", "hectares", "half_hectares"),
    [
        (0, 0.02350862, 0.00349072, 235_086.25, 34_907.22, 21_157.76, 6_157.63),
        (1, 0.01298462, 0.00212915, 129_846.15, 21_291.53, 11_686.15, 3_755.83),
        (2, 0.31752214, 0.00879242, 3_175_221.45, 87_924.24, 285_769.93, 15_509.84),
        (3, 0.64598462, 0.00922996, 6_459_846.15, 92_299.64, 581_386.15, 16_281.66),
    ],
    ids=["deforestation", "gain", "stable forest", "stable non-forest"],
)
def test_code_a_olofsson_2014_areas(
    row: int,
    share: float,
    share_error: float,
    pixels: float,
    pixel_error: float,
    hectares: float,
    half_hectares: float,
) -> None:
    """Olofsson et al., RSE 148 (2014) 42-57, Table 8 and p. 54; code A (hectares: C)."""
    result = post_stratified_counts(
        OLOFSSON_2014,
        PIXELS_2014,
        categories=["D", "G", "F", "NF"],
        blind=True,
        population="large",
        interval="normal",
    )
    assert result.shares[row].value == pytest.approx(share, abs=5e-9)
    assert error(result.shares[row]) == pytest.approx(share_error, abs=5e-9)
    assert result.counts[row].value == pytest.approx(pixels, abs=5e-3)
    assert error(result.counts[row]) == pytest.approx(pixel_error, abs=5e-3)
    assert result.counts[row].value * 0.09 == pytest.approx(hectares, abs=5e-3)
    assert error(result.counts[row]) * 0.09 * 1.96 == pytest.approx(half_hectares, abs=5e-3)
    assert result.counts[row].n == 640


def test_code_a_olofsson_2013() -> None:
    """Olofsson et al., RSE 129 (2013) 122-131, example 1; code A by mapaccuracy."""
    result = post_stratified_counts(
        OLOFSSON_2013,
        HECTARES_2013,
        categories=["D", "F", "NF"],
        blind=True,
        population="large",
        interval="normal",
    )
    areas = [45_112.4, 1_050_067.3, 659_944.3]
    errors = [10_751.4, 17_652.0, 18_635.9]
    halves = [21_072.8, 34_598.0, 36_526.3]
    assert [e.value for e in result.counts] == pytest.approx(areas, abs=0.05)
    assert [error(e) for e in result.counts] == pytest.approx(errors, abs=0.05)
    assert [error(e) * 1.96 for e in result.counts] == pytest.approx(halves, abs=0.06)


@pytest.mark.parametrize(
    ("population", "standard_error"), [("large", 0.03274), ("sampled", 0.03475)]
)
def test_own_double_sampling(population: str, standard_error: float) -> None:
    """OWN case of DOMAIN.md 7.4 (not published): 400 of 1,000 called so, 100 verified."""
    result = post_stratified_counts(
        [[34, 6], [6, 54]],
        [400, 600],
        categories=["yes", "no"],
        blind=True,
        population=population,  # type: ignore[arg-type]
        interval="normal",
    )
    assert result.shares[0].value == pytest.approx(0.400, abs=1e-12)
    assert error(result.shares[0]) == pytest.approx(standard_error, abs=6e-6)


def test_code_d_tenenbein_form_is_near_ours() -> None:
    """Tenenbein, JASA 65 (1970) 1350-1361: V = pq/n (1 - K) + pq/N K; K = 0.5625, SE 0.0344 (OWN).

    His K is that of the verified items and divides by n, ours divides by n_i - 1 in each stratum.
    """
    table = np.array([[34.0, 6.0], [6.0, 54.0]])
    p = table.sum(axis=0)[0] / 100
    k = np.linalg.det(table) ** 2 / (40 * 60 * 40 * 60)
    tenenbein = np.sqrt(p * (1 - p) * ((1 - k) / 100 + k / 1000))
    assert k == pytest.approx(0.5625)
    assert tenenbein == pytest.approx(0.0344, abs=5e-5)
    ours = post_stratified_counts(
        table,
        [400, 600],
        categories=["y", "n"],
        blind=True,
        population="sampled",
        interval="normal",
    )
    assert error(ours.shares[0]) == pytest.approx(tenenbein, rel=0.01)
