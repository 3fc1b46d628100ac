from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from classifier.estimators.prediction_powered import (
    PredictionPowered,
    prediction_powered_counts,
    prediction_powered_mean,
)

Y = [1.0, 1.0, 0.0, 1.0, 0.0, 0.0]
F = [0.9, 0.6, 0.2, 0.7, 0.4, 0.1]
REST = [0.8, 0.3, 0.5, 0.9, 0.2]


def mean_with(**options: Any) -> PredictionPowered:
    given: dict[str, Any] = {"confirmed": Y, "predicted": F, "rest": REST, "blind": True, **options}
    return prediction_powered_mean(
        given.pop("confirmed"), given.pop("predicted"), given.pop("rest"), **given
    )


def codes(result: Any) -> list[str]:
    return [caveat.code for caveat in result.caveats]


def test_plain_by_hand() -> None:
    """mean(f_rest) 0.54 plus mean(Y - f) = 0.1 / 6."""
    result = mean_with(tuning=1)
    assert result.estimate.value == pytest.approx(0.54 + 0.1 / 6)
    residual = np.array(Y) - np.array(F)
    square = np.var(REST) / 5 + np.var(residual) / 6
    half = result.estimate.high - result.estimate.value
    assert half == pytest.approx(1.959963984540054 * square**0.5)
    assert result.classical.value == 0.5
    assert (result.estimate.n, result.estimate.unit) == (6, "1")


def test_tuning_is_the_least_variance_and_named() -> None:
    tuned = mean_with()
    assert 0 < tuned.tuning <= 1
    assert tuned.estimate.method.startswith("prediction-powered mean, tuned (PPI++)")
    assert mean_with(tuning=0.3).estimate.method.startswith("prediction-powered mean, weight 0.3")
    assert mean_with(tuning=0.3).tuning == 0.3
    backwards = mean_with(predicted=[1 - f for f in F])
    assert backwards.tuning == 0
    assert backwards.estimate.value == backwards.classical.value == 0.5


def test_predictions_that_do_not_vary_are_left_aside() -> None:
    result = mean_with(predicted=[0.5] * 6, rest=[0.5] * 5)
    assert result.tuning == 0
    assert result.estimate.low == result.classical.low


def test_options_reach_the_result() -> None:
    wide, narrow = mean_with(level=0.99), mean_with(level=0.5)
    assert wide.estimate.low < narrow.estimate.low
    assert wide.classical.low < narrow.classical.low
    assert mean_with(unit="g").estimate.unit == "g"
    assert codes(mean_with()) == ["few_verified"]
    assert codes(mean_with(blind=False)) == ["anchored", "few_verified"]
    assert codes(mean_with(confirmed=Y * 5, predicted=F * 5)) == []


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"tuning": 1.1}, "tuning 1.1 is not known: give a number from 0 to 1"),
        ({"tuning": -0.1}, "tuning -0.1 is not known"),
        ({"tuning": "best"}, "tuning 'best' is not known: .* or \"auto\""),
        ({"confirmed": Y[:5]}, "lengths differ: {'confirmed': 5, 'predicted': 6}"),
        ({"confirmed": [1], "predicted": [1]}, "number of verified items 1 is too small"),
        ({"rest": []}, "predicted_rest has shape"),
        ({"level": 95}, "level 95 is not between"),
    ],
)
def test_refusals(options: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        mean_with(**options)


PREDICTED = [[0.9, 0.1], [0.2, 0.8], [0.6, 0.4]]


def test_counts_are_the_means_by_category() -> None:
    confirmed = ["can", "jar", "can"]
    rest = [[0.5, 0.5], [0.7, 0.3]]
    result = prediction_powered_counts(
        confirmed, PREDICTED, rest, categories=["can", "jar"], blind=False, level=0.8
    )
    one = prediction_powered_mean([1, 0, 1], [0.9, 0.2, 0.6], [0.5, 0.7], blind=True, level=0.8)
    share, count = result.shares[0], result.counts[0]
    assert (share.value, share.low, share.high) == pytest.approx(
        (one.estimate.value, one.estimate.low, one.estimate.high)
    )
    assert count.value == pytest.approx(5 * share.value)
    assert (count.unit, count.n) == ("items", 3)
    assert codes(result)[:2] == ["anchored", "few_verified"]
    plain = prediction_powered_counts(
        confirmed, PREDICTED, rest, categories=["can", "jar"], blind=True, tuning=1
    )
    assert sum(share.value for share in plain.shares) == pytest.approx(1)
    assert "weight 1" in plain.shares[0].method


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"confirmed": ["can", "lid", "can"]}, "confirmed holds lid, which is not given"),
        ({"confirmed": ["can"]}, "lengths differ: {'confirmed': 1, 'predicted': 3}"),
        ({"rest": [[0.5, 0.2, 0.3]]}, "lengths differ: {'columns_of_predicted': 2"),
        ({"rest": [[1.5, -0.5]]}, r"predictions ranges from -0.5 to 1.5: give probabilities"),
        ({"categories": ["can"]}, "categories gives 1 names"),
    ],
)
def test_counts_refusals(change: dict[str, Any], message: str) -> None:
    given: dict[str, Any] = {
        "confirmed": ["can", "jar", "can"],
        "rest": [[0.5, 0.5]],
        "categories": ["can", "jar"],
        **change,
    }
    with pytest.raises(ValueError, match=message):
        prediction_powered_counts(
            given["confirmed"], PREDICTED, given["rest"], categories=given["categories"], blind=True
        )
