"""Agreement of people, against published cases and statsmodels (DOMAIN.md 9.3)."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.inter_rater import (
    cohens_kappa,
)
from statsmodels.stats.inter_rater import (
    fleiss_kappa as statsmodels_fleiss,
)

from classifier.estimators.agreement import agreement_band, cohen_kappa, fleiss_kappa
from classifier.estimators.krippendorff import Rating, krippendorff_alpha

FLEISS = [
    [0, 0, 0, 0, 14],
    [0, 2, 6, 4, 2],
    [0, 0, 3, 5, 6],
    [0, 3, 9, 2, 0],
    [2, 2, 8, 1, 1],
    [7, 7, 0, 0, 0],
    [3, 2, 6, 3, 0],
    [2, 5, 3, 2, 2],
    [6, 5, 2, 1, 0],
    [0, 2, 2, 3, 7],
]
OBSERVERS: list[list[Rating]] = [
    [1, 2, 3, 3, 2, 1, 4, 1, 2, None, None, None],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, None, 3],
    [None, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, None],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, None],
]


def test_code_c_cohen_two_by_two() -> None:
    """[[20, 5], [10, 15]]: po .70, pe .50, kappa 0.400; code C, recomputed."""
    first = ["yes"] * 25 + ["no"] * 25
    second = ["yes"] * 20 + ["no"] * 5 + ["yes"] * 10 + ["no"] * 15
    assert cohen_kappa(first, second, blind=True).value == pytest.approx(0.400, abs=1e-12)


def test_code_c_fleiss_ten_subjects() -> None:
    """10 subjects, 14 raters, 5 classes: 0.2099, printed 0.210; code C, recomputed."""
    assert fleiss_kappa(FLEISS, blind=True).value == pytest.approx(0.2099, abs=5e-5)


def test_code_c_krippendorff_four_observers() -> None:
    """Krippendorff's 4 observers x 12 units with gaps, nominal; code C, recomputed."""
    estimate = krippendorff_alpha(OBSERVERS, blind=True)
    assert estimate.value == pytest.approx(0.743, abs=5e-4)
    assert estimate.n == 11  # the last unit has one rating


@pytest.mark.parametrize("seed", range(5))
def test_agrees_with_statsmodels(seed: int) -> None:
    generator = np.random.default_rng(seed)
    table = generator.multinomial(3, [0.5, 0.3, 0.15, 0.05], size=40)
    ours = fleiss_kappa(table, blind=True).value
    assert ours == pytest.approx(statsmodels_fleiss(table), abs=1e-12)
    first = generator.integers(0, 4, size=60)
    second = np.where(generator.random(60) < 0.6, first, generator.integers(0, 4, size=60))
    pairs = np.zeros((4, 4))
    np.add.at(pairs, (first, second), 1)
    kappa = cohen_kappa([str(v) for v in first], [str(v) for v in second], blind=True)
    theirs = cohens_kappa(pairs)
    assert kappa.value == pytest.approx(theirs.kappa, abs=1e-12)
    # The bootstrap interval against the normal one of the large-sample variance.
    assert (kappa.low, kappa.high) == pytest.approx((theirs.kappa_low, theirs.kappa_upp), abs=0.04)


@pytest.mark.parametrize(
    ("kappa", "band"),
    [
        (-0.01, "poor"),
        (0.0, "slight"),
        (0.20, "slight"),
        (0.21, "fair"),
        (0.40, "fair"),
        (0.41, "moderate"),
        (0.60, "moderate"),
        (0.61, "substantial"),
        (0.80, "substantial"),
        (0.81, "almost perfect"),
        (1.0, "almost perfect"),
    ],
)
def test_code_d_landis_and_koch_bands(kappa: float, band: str) -> None:
    """Landis and Koch, Biometrics 33 (1977) 159-174; code D, from memory."""
    assert agreement_band(kappa) == band
