"""Log-ratios, bootstrap, permutation test, ratio estimator and rates against outside numbers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from classifier.estimators._moments import drawn_moments
from classifier.estimators.logratio import clr, clr_inverse
from classifier.estimators.logratio_summary import replace_zeros
from classifier.estimators.rates import recovery_rates
from classifier.estimators.sample_shares import per_person, shares_of_study
from classifier.estimators.study_bootstrap import bootstrap_study
from classifier.estimators.study_permutation import permutation_test

PARTS = [0.1, 0.3, 0.4, 0.2]
GRAMS = np.random.default_rng(12).lognormal(sigma=[0.5, 1.2, 0.4], size=(25, 3))


def test_code_a_scikit_bio_log_ratios() -> None:
    """Documentation examples of scikit-bio 0.7.4 (DOMAIN.md 1.6)."""
    assert clr(PARTS) == pytest.approx([-0.79451346, 0.30409883, 0.59178090, -0.10136628], abs=5e-9)
    perturbed = clr_inverse(clr(PARTS) + clr([1 / 6, 1 / 6, 1 / 3, 1 / 3]))
    assert perturbed == pytest.approx([0.0625, 0.1875, 0.5, 0.25])
    assert clr_inverse(0.1 * clr(PARTS)) == pytest.approx(
        [0.23059566, 0.25737316, 0.26488486, 0.24714631], abs=5e-9
    )


def test_code_a_scikit_bio_replacement_of_zeros() -> None:
    assert replace_zeros([[0.2, 0.4, 0.4, 0.0], [0.0, 0.5, 0.5, 0.0]]) == pytest.approx(
        np.array([[0.1875, 0.375, 0.375, 0.0625], [0.0625, 0.4375, 0.4375, 0.0625]])
    )


@pytest.mark.parametrize(("ours", "theirs"), [("percentile", "percentile"), ("bca", "BCa")])
def test_bootstrap_by_sort_agrees_with_scipy(ours: str, theirs: str) -> None:
    """2 x 20,000 draws: ends agree within their own sampling error."""
    shares = GRAMS / GRAMS.sum(axis=1, keepdims=True)
    estimates = bootstrap_study([GRAMS], interval=ours, draws=20_000)  # type: ignore[arg-type]
    for k, estimate in enumerate(estimates):
        end = stats.bootstrap(
            (shares[:, k],), np.mean, confidence_level=0.9, n_resamples=20_000, method=theirs,
            rng=np.random.default_rng(1),
        ).confidence_interval  # fmt: skip
        width = end.high - end.low
        assert estimate.low == pytest.approx(end.low, abs=0.03 * width)
        assert estimate.high == pytest.approx(end.high, abs=0.03 * width)


def test_bootstrap_of_the_ratio_of_sums_agrees_with_scipy() -> None:
    """scipy's BCa takes its acceleration from the jackknife, ours from influence values."""
    estimate = bootstrap_study(
        [GRAMS], estimator="ratio of sums", interval="bca", draws=20_000
    )[1]  # fmt: skip
    end = stats.bootstrap(
        (GRAMS[:, 1], GRAMS.sum(axis=1)), lambda c, w, axis: c.sum(axis=axis) / w.sum(axis=axis),
        paired=True, confidence_level=0.9, n_resamples=20_000, rng=np.random.default_rng(1),
    ).confidence_interval  # fmt: skip
    width = end.high - end.low
    assert estimate.low == pytest.approx(end.low, abs=0.05 * width)
    assert estimate.high == pytest.approx(end.high, abs=0.05 * width)


def test_permutation_test_agrees_with_scipy() -> None:
    """All 924 divisions of twelve sorts: the same p-value to the last division."""
    one, other = GRAMS[:6], GRAMS[6:12]
    test = permutation_test(one, other)
    shares = GRAMS[:12] / GRAMS[:12].sum(axis=1, keepdims=True)
    theirs = stats.permutation_test(
        (shares[:6], shares[6:]),
        lambda x, y, axis: np.abs(stats.ttest_ind(x, y, axis=axis, equal_var=False).statistic),
        vectorized=True, alternative="greater", n_resamples=np.inf,
    )  # fmt: skip
    assert test.exact
    assert test.statistic == pytest.approx(
        stats.ttest_ind(shares[:6], shares[6:], equal_var=False).statistic
    )
    assert test.p == pytest.approx(theirs.pvalue)


def test_moments_of_a_selection_are_those_of_its_sorts() -> None:
    totals = GRAMS.sum(axis=1)
    chosen = np.zeros((1, 25))
    chosen[0, [2, 3, 5, 7, 11]] = 1
    value, variance = drawn_moments(GRAMS, totals, chosen)
    study = shares_of_study(GRAMS[[2, 3, 5, 7, 11]], estimator="ratio of sums")
    assert value[0] == pytest.approx(study.value)
    assert variance[0] == pytest.approx(study.variance)


def test_code_a_contamination_contract_by_category() -> None:
    """Carpet 5, 3, 4 of 80, 70, 90: 0.05 as a ratio of sums, 0.049934 as a mean (DOMAIN.md 1.4)."""
    grams = [[5, 75], [3, 67], [4, 86]]
    ratio = shares_of_study(grams, estimator="ratio of sums")
    assert ratio.value[0] == pytest.approx(0.05)
    assert ratio.variance[0] == pytest.approx(3.90625e-5)
    assert shares_of_study(grams).value[0] == pytest.approx(0.049934, abs=5e-7)


def test_own_rates_by_hand() -> None:
    """Cart 120 lb, 102 of them accepted; refuse 280 lb, 68 of them missed (DOMAIN.md 5.5)."""
    rates = recovery_rates([51, 51], [9, 9], [34, 34], [106, 106])
    assert rates.contamination.value == pytest.approx(0.150)
    assert rates.capture.value == pytest.approx(0.600)
    assert rates.gross_diversion.value == pytest.approx(0.300)
    assert rates.net_diversion.value == pytest.approx(0.255)


def test_code_b_us_per_person_and_day() -> None:
    """EPA 2018: 292.36 million short tons, 327.17 million people: 4.9 lb (DOMAIN.md 2)."""
    half_year_g = 292.36e6 * 2000 * 453.59237 / 2
    rate = per_person([[half_year_g], [half_year_g]], [327.17e6] * 2, [182.5] * 2, per="day")
    assert rate.value[0] / 453.59237 == pytest.approx(4.896, abs=5e-4)
