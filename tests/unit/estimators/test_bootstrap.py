from __future__ import annotations

import numpy as np
import pytest

from classifier.estimators.sample_shares import shares_of_study
from classifier.estimators.strata import combine_strata
from classifier.estimators.study_bootstrap import bootstrap_study

GENERATOR = np.random.default_rng(8)
HOMES = GENERATOR.lognormal(size=(30, 3))
SHOPS = GENERATOR.lognormal(size=(20, 3)) * [5, 1, 1]


def test_values_are_those_of_the_study() -> None:
    for estimator in ("mean of sample shares", "ratio of sums"):
        estimates = bootstrap_study([HOMES], estimator=estimator, draws=100)
        study = shares_of_study(HOMES, estimator=estimator)
        assert [each.value for each in estimates] == pytest.approx(study.value.tolist())
        assert estimates[0].method == f"{estimator}, bootstrap by sort, percentile interval"
        assert estimates[0].n == 30


@pytest.mark.parametrize("interval", ["percentile", "bca"])
def test_strata_agree_with_the_t_interval_where_sorts_are_many(interval: str) -> None:
    estimates = bootstrap_study(
        [HOMES, SHOPS], weights=[600, 400], interval=interval, draws=4000  # type: ignore[arg-type]
    )  # fmt: skip
    study = combine_strata([shares_of_study(HOMES), shares_of_study(SHOPS)], [0.6, 0.4])
    for one, other in zip(estimates, study.intervals(), strict=True):
        assert one.value == pytest.approx(other.value)
        assert one.low == pytest.approx(other.low, abs=0.15 * (other.high - other.low))
        assert one.high == pytest.approx(other.high, abs=0.15 * (other.high - other.low))
        assert f"2 strata, bootstrap by sort, {interval} interval" in one.method


def test_sorts_of_a_stratum_stay_in_it() -> None:
    """Within either stratum nothing varies, so no draw differs, however much they do."""
    estimates = bootstrap_study([[[1, 9]] * 3, [[9, 1]] * 3], weights=[1, 1], interval="bca")
    assert [(each.low, each.high) for each in estimates] == [pytest.approx((0.5, 0.5))] * 2


def test_options_matter_and_draws_repeat() -> None:
    first = bootstrap_study([HOMES])
    assert first == bootstrap_study([HOMES])
    assert first != bootstrap_study([HOMES], seed=1)
    assert first != bootstrap_study([HOMES], draws=500)
    assert first[0].low < bootstrap_study([HOMES], level=0.5)[0].low
    assert first[0].low != bootstrap_study([HOMES], interval="bca")[0].low


def test_a_category_of_one_sort_has_ends_within_0_and_1() -> None:
    grams = np.ones((5, 2))
    grams[1:, 0] = 0
    for interval in ("percentile", "bca"):
        rare = bootstrap_study([grams], interval=interval)[0]
        assert 0 == rare.low < rare.value < rare.high < 1
        assert (
            rare.assumptions[-1]
            == "few sorts for so much spread: the interval is likely too narrow"
        )


def test_progress_ends_at_all_draws() -> None:
    seen: list[tuple[int, int]] = []
    bootstrap_study([HOMES], draws=600, progress=lambda done, of: seen.append((done, of)))
    assert seen == [(250, 600), (500, 600), (600, 600)]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"interval": "basic"}, "interval 'basic' is not known"),
        ({"level": 1.0}, "level 1.0 is not between 0 and 1"),
        ({"draws": 99}, "draws 99 is too small: give at least 100"),
        ({"estimator": "median"}, "estimator 'median' is not known"),
        ({"weights": [1, 1]}, "1 strata and 2 weights"),
        ({"weights": [0]}, "weights must not be below 0, nor all be 0"),
        ({"weights": [-1]}, "weights must not be below 0, nor all be 0"),
    ],
)
def test_options_that_can_not_be(options: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        bootstrap_study([HOMES], **options)  # type: ignore[arg-type]


def test_strata_that_can_not_be() -> None:
    with pytest.raises(ValueError, match="there is no stratum"):
        bootstrap_study([])
    with pytest.raises(ValueError, match="2 strata without weights: give the size of each"):
        bootstrap_study([HOMES, SHOPS])
    with pytest.raises(ValueError, match=r"lengths differ: \{'stratum 1': 3, 'stratum 2': 2\}"):
        bootstrap_study([HOMES, SHOPS[:, :2]], weights=[1, 1])
    with pytest.raises(ValueError, match="stratum 2 holds a sort without any mass"):
        bootstrap_study([HOMES, SHOPS * 0], weights=[1, 1])
