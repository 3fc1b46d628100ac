"""Correction by known error rates, against published cases (DOMAIN.md 7.3, 7.6)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest

from classifier.estimators.adjusted_counts import ErrorRates, adjusted_counts
from classifier.estimators.proportions import ProportionInterval, proportion
from classifier.estimators.rogan_gladen import rogan_gladen


@pytest.mark.parametrize(
    ("interval", "apparent", "true", "tolerance"),
    [
        ("normal", None, (0.1011094, 0.2509506), 5e-8),
        ("wilson", (0.1105600, 0.2434528), (0.1129887, 0.2623065), 5e-8),
        ("clopper_pearson", (0.1048785, 0.2456000), (0.1066051, 0.2647191), 5e-8),
        # The package searches Blaker's ends in steps of 1e-4 and stops one step outside.
        ("blaker", (0.1051785, 0.2440000), (0.1069421, 0.2629214), 1e-4 / 0.89),
    ],
    ids=["code A normal", "code A Wilson", "code A Clopper-Pearson", "code B Blaker"],
)
def test_rogan_gladen_20_of_120(
    interval: ProportionInterval,
    apparent: tuple[float, float] | None,
    true: tuple[float, float],
    tolerance: float,
) -> None:
    """RSurveillance `tp` example: Se .90, Sp .99, 95 %. Rogan and Gladen, AJE 107 (1978) 71-76.

    The package prints the Wilson apparent interval in its normal row, which is left out here.
    """
    result = rogan_gladen(20, 120, sensitivity=0.90, specificity=0.99, interval=interval)
    assert result.apparent.value == pytest.approx(0.1666667, abs=5e-8)
    assert result.true.value == pytest.approx(0.17603, abs=5e-6)
    if apparent is not None:
        assert (result.apparent.low, result.apparent.high) == pytest.approx(apparent, abs=tolerance)
    assert (result.true.low, result.true.high) == pytest.approx(true, abs=tolerance)
    assert result.caveats == ()


def test_own_epir_clamp() -> None:
    """epiR 0.9-15 example: 23 of 150, Se .96, Sp .89 -> 0.0510, -0.017 to 0.119 (OWN)."""
    result = rogan_gladen(23, 150, sensitivity=0.96, specificity=0.89, interval="normal")
    assert result.raw == pytest.approx((0.0510, -0.017, 0.119), abs=5e-4)
    assert (result.true.value, result.true.low, result.true.high) == pytest.approx(
        (0.0510, 0.0, 0.119), abs=5e-4
    )
    assert result.true.low == 0.0
    assert [caveat.code for caveat in result.caveats] == ["clipped"]
    assert "from -0.0169 to 0.119 was cut" in result.caveats[0].text


def test_own_three_categories_there_and_back() -> None:
    """OWN check of DOMAIN.md 7.3: p = (.5, .3, .2) gives q = (.49, .30, .21)."""
    rates = np.array([[0.90, 0.10, 0.05], [0.06, 0.80, 0.15], [0.04, 0.10, 0.80]])
    assert rates @ [0.5, 0.3, 0.2] == pytest.approx([0.49, 0.30, 0.21], abs=1e-12)
    result = adjusted_counts(
        [490, 300, 210], ErrorRates(rates, np.full(3, np.inf)), categories="abc", blind=True
    )
    assert [e.value for e in result.correction.shares] == pytest.approx([0.5, 0.3, 0.2])
    assert [e.value for e in result.correction.counts] == pytest.approx([500, 300, 200])


@pytest.mark.parametrize(
    ("x", "n", "normal", "clopper_pearson"),
    [
        (81, 263, (0.2522, 0.3638), (0.2527, 0.3676)),
        (15, 148, (0.0527, 0.1500), (0.0578, 0.1617)),
        (0, 20, (0.0, 0.0), (0.0, 0.1684)),
        (1, 29, (-0.0319, 0.1009), (0.0009, 0.1776)),
    ],
)
def test_code_a_newcombe_1998_normal_and_exact(
    x: int, n: int, normal: tuple[float, float], clopper_pearson: tuple[float, float]
) -> None:
    """Newcombe, Statistics in Medicine 17 (1998) 857-872; the Wilson column is in test_intervals.

    The paper clips the normal interval at 0; ours is not clipped (DOMAIN.md prints -0.0319).
    """
    for interval, ends in (("normal", normal), ("clopper_pearson", clopper_pearson)):
        estimate = proportion(x, n, interval=interval)  # type: ignore[arg-type]
        assert (estimate.low, estimate.high) == pytest.approx(ends, abs=5e-5)


@pytest.mark.parametrize(("x", "n"), [(0, 7), (3, 7), (7, 7), (50, 1000)])
@pytest.mark.parametrize("level", [0.8, 0.9, 0.99])
def test_exact_interval_agrees_with_scipy(x: int, n: int, level: float) -> None:
    theirs = binomtest(x, n).proportion_ci(confidence_level=level, method="exact")
    ours = proportion(x, n, interval="clopper_pearson", level=level)
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
