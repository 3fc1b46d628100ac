from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from classifier.estimators.adjusted_counts import (
    ErrorRates,
    adjusted_counts,
    rates_from_confusion,
)
from classifier.estimators.proportions import proportion
from classifier.estimators.rogan_gladen import TrueShare, rogan_gladen

INTERVALS = ["wilson", "clopper_pearson", "blaker", "normal"]


def share_with(positives: int = 30, n: int = 100, **options: Any) -> TrueShare:
    return rogan_gladen(positives, n, **{"sensitivity": 0.9, "specificity": 0.9, **options})


def codes(result: Any) -> list[str]:
    return [caveat.code for caveat in result.caveats]


@pytest.mark.parametrize("interval", INTERVALS)
def test_proportion_at_the_ends(interval: Any) -> None:
    none, all_of_them = proportion(0, 9, interval=interval), proportion(9, 9, interval=interval)
    assert (none.low, all_of_them.high) == (0.0, 1.0)
    assert none.high == pytest.approx(1 - all_of_them.low)
    assert none.n == 9


def test_intervals_differ_and_nest() -> None:
    ends = {kind: proportion(4, 30, interval=kind) for kind in INTERVALS}  # type: ignore[arg-type]
    assert len({round(e.low, 6) for e in ends.values()}) == 4
    assert len({e.method for e in ends.values()}) == 4
    exact, blaker = ends["clopper_pearson"], ends["blaker"]
    assert exact.low < blaker.low < 4 / 30 < blaker.high < exact.high
    narrower = proportion(4, 30, interval="blaker", level=0.5)
    assert blaker.low < narrower.low < narrower.high < blaker.high


def test_blaker_is_the_set_of_accepted_values() -> None:
    """From the definition: accept p if outcomes no more central than x have more than 5 %."""
    from scipy.stats import binom

    def accepted(p: float, x: int, n: int) -> bool:
        outcomes = np.arange(n + 1)
        central = np.minimum(binom.cdf(outcomes, n, p), binom.sf(outcomes - 1, n, p))
        chance = binom.pmf(outcomes, n, p)[central <= central[x] * (1 + 1e-9)].sum()
        return bool(chance > 0.05)

    for x, n in ((3, 12), (6, 12), (1, 29), (20, 120)):
        e = proportion(x, n, interval="blaker")
        assert accepted(e.low + 1e-6, x, n)
        assert not accepted(e.low - 1e-6, x, n)
        assert accepted(e.high - 1e-6, x, n)
        assert not accepted(e.high + 1e-6, x, n)


def test_proportion_refusals() -> None:
    with pytest.raises(ValueError, match="interval 'exact' is not known: give one of wilson, clop"):
        proportion(1, 2, interval="exact")  # type: ignore[arg-type]
    for interval in INTERVALS:
        with pytest.raises(ValueError, match="successes 3 are not within 0 to n = 2"):
            proportion(3, 2, interval=interval)  # type: ignore[arg-type]


def test_perfect_rates_change_nothing() -> None:
    result = share_with(sensitivity=1.0, specificity=1.0)
    apparent = result.apparent
    assert (result.true.value, result.true.low) == pytest.approx((apparent.value, apparent.low))
    assert result.raw == pytest.approx((0.3, result.true.low, result.true.high))


def test_estimated_rates_widen_the_interval() -> None:
    known = share_with()
    both = share_with(sensitivity_n=50, specificity_n=80)
    one = share_with(sensitivity_n=50)
    assert known.true.value == both.true.value == one.true.value == pytest.approx(0.25)
    assert both.true.low < one.true.low < known.true.low
    assert known.true.high < one.true.high < both.true.high
    assert known.true.assumptions[-1] == "they are known exactly"
    assert one.true.assumptions[-1] == "their error is added in quadrature"
    # By hand, for the normal interval: everything adds in quadrature.
    normal = share_with(interval="normal", sensitivity_n=50, specificity_n=80)
    variance = 0.3 * 0.7 / 100 + 0.25**2 * 0.09 / 50 + 0.75**2 * 0.09 / 80
    assert normal.true.high - 0.25 == pytest.approx(1.959963984540054 * variance**0.5 / 0.8)


def test_level_reaches_both_parts() -> None:
    wide, narrow = (share_with(level=level, sensitivity_n=50) for level in (0.99, 0.5))
    assert wide.true.low < narrow.true.low
    assert wide.true.level == 0.99


def test_what_contradicts_the_rates_is_said() -> None:
    below = share_with(8)
    assert codes(below) == ["contradiction"]
    assert (below.true.value, below.true.low) == (0.0, 0.0)
    assert below.raw[0] == pytest.approx(-0.025)
    assert "even without any such item 0.1 would be called so" in below.caveats[0].text
    above = share_with(92)
    assert codes(above) == ["contradiction"]
    assert (above.true.value, above.true.high) == (1.0, 1.0)
    assert "1.02 was set to 1" in above.caveats[0].text
    assert codes(share_with(11)) == codes(share_with(89)) == ["clipped"]
    assert codes(share_with()) == []
    assert codes(share_with(50, sensitivity=0.6, specificity=0.55)) == [
        "poor_separation",
        "clipped",
    ]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"sensitivity": 90}, "sensitivity 90 is not within 0 to 1: write 0.90 for 90 %"),
        ({"specificity": -0.1}, r"specificity -0.1 is not within 0 to 1"),
        ({"sensitivity": 0.5, "specificity": 0.5}, r"sensitivity \+ specificity - 1 is 0, below"),
        ({"sensitivity": 0.1}, "hardly tells this category from the rest; verify some"),
        ({"positives": 0, "n": 200}, "the corrected share runs from -0.125 .*outside 0 to 1"),
        ({"positives": 200, "n": 200}, "outside 0 to 1: the sensitivity and specificity given"),
        ({"sensitivity_n": 1}, "sensitivity_n 1 is too small: give at least 2"),
        ({"specificity_n": 1}, "specificity_n 1 is too small: give at least 2"),
        ({"interval": "exact"}, "interval 'exact' is not known"),
        ({"level": 95}, "level 95 is not between"),
    ],
)
def test_rogan_gladen_refusals(options: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        share_with(**options)


KNOWN = ErrorRates(np.array([[0.9, 0.1], [0.1, 0.9]]), np.full(2, np.inf))


def adjusted_with(counts: Any = (30, 70), rates: ErrorRates = KNOWN, **options: Any) -> Any:
    return adjusted_counts(
        counts, rates, **{"categories": ["can", "jar"], "blind": True, **options}
    )


@pytest.mark.parametrize(("se_n", "sp_n"), [(None, None), (50, 80)])
def test_two_categories_are_rogan_and_gladen(se_n: int | None, sp_n: int | None) -> None:
    rates = ErrorRates(KNOWN.rates, np.array([se_n or np.inf, sp_n or np.inf]))
    many = adjusted_with(rates=rates, population="sampled")
    one = share_with(interval="normal", sensitivity_n=se_n, specificity_n=sp_n)
    share = many.correction.shares[0]
    assert (share.value, share.low, share.high) == pytest.approx(
        (one.true.value, one.true.low, one.true.high)
    )


def test_about_exactly_these_items_is_narrower() -> None:
    finite = adjusted_with().correction.shares[0]
    sampled = adjusted_with(population="sampled").correction.shares[0]
    assert finite.high < sampled.high
    assert finite.assumptions[-1] != sampled.assumptions[-1]
    assert adjusted_with(level=0.5).correction.shares[0].high < finite.high
    # By hand: 25 of 100 truly cans, each called rightly with 0.9; the rest likewise.
    assert finite.high - 0.25 == pytest.approx(1.959963984540054 * (0.09 / 100) ** 0.5 / 0.8)


def test_shares_below_0_are_mended_and_said() -> None:
    result = adjusted_with((5, 95))
    assert result.raw == pytest.approx([-0.0625, 1.0625])
    assert [share.value for share in result.correction.shares] == pytest.approx([0, 1])
    assert result.correction.shares[0].high >= 0
    assert codes(result.correction)[0] == "contradiction"
    assert "can -0.0625, jar 1.06" in result.correction.caveats[0].text


def test_mended_shares_are_the_nearest() -> None:
    rates = np.array([[0.90, 0.10, 0.05], [0.06, 0.80, 0.15], [0.04, 0.10, 0.80]])
    q = np.array([0.7, 0.3, 0.0])
    result = adjusted_with(1000 * q, ErrorRates(rates, np.full(3, 100.0)), categories=list("abc"))
    p = np.array([share.value for share in result.correction.shares])
    assert p.sum() == pytest.approx(1)
    assert p.min() >= 0
    best = np.linalg.norm(rates @ p - q)
    grid = np.random.default_rng(0).dirichlet([0.5] * 3, size=5000)
    assert best <= np.linalg.norm(grid @ rates.T - q, axis=1).min() + 1e-6
    for share in result.correction.shares:
        assert share.low <= share.value <= share.high


def test_adjusted_caveats() -> None:
    assert codes(adjusted_with(blind=False).correction) == ["anchored"]
    poor = ErrorRates(np.array([[0.55, 0.45], [0.45, 0.55]]), np.full(2, np.inf))
    result = adjusted_with((500, 500), poor).correction
    assert codes(result) == ["poor_separation"]
    assert "multiplied by up to 10" in result.caveats[0].text


@pytest.mark.parametrize(
    ("rates", "message"),
    [
        ([[0.5, 0.5], [0.5, 0.5]], "hardly tell these apart: can, jar; .*multiplied by inf"),
        ([[0.52, 0.48], [0.48, 0.52]], "errors would be multiplied by 25, above 20"),
        ([[0.9, 0.1], [0.2, 0.9]], "each column must add to 1: rows are predictions"),
        ([[1.1, 0.1], [-0.1, 0.9]], "rates must not be below 0"),
        ([[0.9, 0.1, 0.5], [0.1, 0.9, 0.5]], "lengths differ"),
    ],
)
def test_rates_that_do_not_serve(rates: list[list[float]], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        adjusted_with(rates=ErrorRates(np.array(rates), np.full(2, np.inf)))


def test_only_the_confused_categories_are_named() -> None:
    rates = np.array([[0.9, 0.0, 0.0], [0.05, 0.5, 0.49], [0.05, 0.5, 0.51]])
    with pytest.raises(ValueError, match="hardly tell these apart: b, c;"):
        adjusted_with((1, 2, 3), ErrorRates(rates, np.full(3, np.inf)), categories=["a", "b", "c"])


def test_adjusted_refusals() -> None:
    with pytest.raises(ValueError, match=r"n goes down to 1.0: rates rest on at least 2 items"):
        adjusted_with(rates=ErrorRates(KNOWN.rates, np.array([1.0, 9.0])))
    with pytest.raises(
        ValueError, match="population 'large' is not known: give one of finite, sam"
    ):
        adjusted_with(population="large")
    with pytest.raises(ValueError, match="level 95 is not between"):
        adjusted_with(level=95)
    with pytest.raises(ValueError, match="categories gives 1 names"):
        adjusted_with(categories=["can"])


def test_rates_from_a_confusion() -> None:
    rates = rates_from_confusion([[18, 3], [2, 9]], categories=["can", "jar"])
    assert rates.rates == pytest.approx(np.array([[0.9, 0.25], [0.1, 0.75]]))
    assert rates.n.tolist() == [20, 12]
    with pytest.raises(ValueError, match="fewer than 2 items truly are: jar; verify more"):
        rates_from_confusion([[18, 1], [2, 0]], categories=["can", "jar"])
    with pytest.raises(ValueError, match=r"confusion has shape \(1, 2\): give the same rows"):
        rates_from_confusion([[18, 1]], categories=["can", "jar"])
