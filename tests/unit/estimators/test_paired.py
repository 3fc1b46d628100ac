"""Two models on the same pictures, by hand and by property."""

from __future__ import annotations

import numpy as np
import pytest

from classifier.estimators.paired import mcnemar_exact, paired_accuracy


def test_by_hand() -> None:
    """Ten pictures that differ, one for the first: 2 (1 + 10) / 2^10."""
    assert mcnemar_exact(1, 9) == pytest.approx(22 / 1024, abs=1e-15)
    assert mcnemar_exact(5, 5) == 1.0
    assert mcnemar_exact(0, 0) == 1.0


def test_counts_and_difference() -> None:
    first = [1, 1, 1, 0, 0, 1]
    second = [1, 0, 0, 1, 0, 1]
    compared = paired_accuracy(first, second, list("aabbcc"))
    assert (compared.both, compared.only_first) == (2, 2)
    assert (compared.only_second, compared.neither) == (1, 1)
    assert compared.n == 6
    assert compared.difference.value == pytest.approx(1 / 6)
    assert compared.p_value == mcnemar_exact(2, 1)


def test_the_other_way_round_turns_the_sign_only() -> None:
    generator = np.random.default_rng(4)
    first, second = generator.random(80) < 0.7, generator.random(80) < 0.6
    groups = np.arange(80) // 2
    one = paired_accuracy(first, second, groups)
    other = paired_accuracy(second, first, groups)
    assert other.p_value == one.p_value
    assert other.difference.value == -one.difference.value
    assert other.difference.low == pytest.approx(-one.difference.high)
    assert other.difference.high == pytest.approx(-one.difference.low)


def test_a_model_against_itself() -> None:
    right = [True, False, True, True]
    compared = paired_accuracy(right, right, list("abcd"))
    assert (compared.difference.low, compared.difference.high) == (0, 0)
    assert compared.p_value == 1


def test_every_option_counts() -> None:
    generator = np.random.default_rng(1)
    first, second = generator.random(60) < 0.8, generator.random(60) < 0.5
    groups = np.arange(60) // 3
    plain = paired_accuracy(first, second, groups).difference
    assert paired_accuracy(first, second, groups, level=0.8).difference.low > plain.low
    assert paired_accuracy(first, second, groups, seed=9).difference != plain
    assert paired_accuracy(first, second, groups, draws=200).difference != plain


@pytest.mark.parametrize(
    ("first", "second", "groups", "said"),
    [
        ([1, 0], [1], ["a", "b"], "lengths differ"),
        ([1, 0], [1, 0.5], ["a", "b"], "second holds other values than 0 and 1"),
        ([1, 0], [1, 0], ["a", "a"], "number of groups 1 is too small"),
        ([1, 0], [1, 0], ["a"], "lengths differ"),
    ],
)
def test_refusals(first: list[float], second: list[float], groups: list[str], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        paired_accuracy(first, second, groups)


@pytest.mark.parametrize("counts", [(-1, 3), (3, -1)])
def test_counts_below_zero(counts: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="-1 is too small: give at least 0"):
        mcnemar_exact(*counts)
