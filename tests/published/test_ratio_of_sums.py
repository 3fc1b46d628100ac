"""Ratio estimators against published cases."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from classifier.estimators._moments import ratio_moments


def test_code_a_contamination_contract_carpet_share() -> None:
    """San Mateo / Redwood City contamination method, DOMAIN.md 1.4: carpet 5, 3, 4 lb in samples
    of 80, 70, 90 lb -> r = 0.05 (printed). Half-width 0.01028 at 90 %: OWN, completed by us.
    """
    ratio, error = ratio_and_error([5, 3, 4], [80, 70, 90])
    assert ratio == pytest.approx(0.05, abs=1e-12)
    # 1.645 is rounded in the source.
    assert 1.645 * error == pytest.approx(0.01028, abs=5e-6)
    assert error**2 == pytest.approx(3.90625e-5, rel=1e-6)
    mean_of_ratios = (5 / 80 + 3 / 70 + 4 / 90) / 3
    assert mean_of_ratios == pytest.approx(0.049934, abs=5e-7)
    assert ratio != pytest.approx(mean_of_ratios, abs=1e-5)


def ratio_and_error(tops: Sequence[float], bottoms: Sequence[float]) -> tuple[float, float]:
    """Return the ratio of sums and its standard error, as shares of a study and rates have them."""
    ratio, variance = ratio_moments(np.array(tops, float)[:, None], np.array(bottoms, float))
    return float(ratio[0]), math.sqrt(variance[0])


def _families(sum_y: float, sum_x: float, yy: float, xx: float, xy: float) -> tuple[float, float]:
    """Return ratio and standard error of 33 families from their sums alone (formula by hand)."""
    n, ratio = 33, sum_y / sum_x
    squares = yy - 2 * ratio * xy + ratio**2 * xx
    return ratio, math.sqrt(squares / (n - 1) / n) / (sum_x / n)


@pytest.mark.parametrize(
    ("sum_x", "xx", "xy", "ratio", "error"),
    [
        (123, 533, 3595.5, 7.376, 0.534),
        (2394, 177254, 66678, 0.3789, 0.0238),
    ],
    ids=["food cost per person", "food cost per income"],
)
def test_code_c_cochran_33_families(
    sum_x: float, xx: float, xy: float, ratio: float, error: float
) -> None:
    """Cochran, Sampling Techniques 3rd ed. (1977), section 2.11 (DOMAIN.md 7.5).

    The book gives sums; 33 families with exactly these sums are made up here: the variance formula
    uses nothing else, so any such families must give the printed result.
    """
    x, y = _families_with(sum_x, 907.2, xx, 28224, xy)
    found = ratio_and_error(y, x)
    # Printed to three decimals, and to the hundredth of a per cent.
    printed = 5e-4 if ratio > 1 else 5e-5
    assert found == pytest.approx((ratio, error), abs=printed)
    assert _families(907.2, sum_x, 28224, xx, xy) == pytest.approx(found)


def _families_with(
    sum_x: float, sum_y: float, xx: float, yy: float, xy: float
) -> tuple[list[float], list[float]]:
    """Return 33 pairs with the given sums and sums of squares: two contrasts carry the spread."""
    n = 33
    first = [1.0] * 16 + [-1.0] * 16 + [0.0]
    second = [1.0, -1.0] * 16 + [0.0]  # orthogonal to the first and to a constant
    sxx, syy, sxy = xx - sum_x**2 / n, yy - sum_y**2 / n, xy - sum_x * sum_y / n
    a = math.sqrt(sxx / 32)
    b = sxy / 32 / a
    c = math.sqrt(syy / 32 - b**2)
    x = [sum_x / n + a * u for u in first]
    y = [sum_y / n + b * u + c * v for u, v in zip(first, second, strict=True)]
    return x, y
