from __future__ import annotations

import doctest
import importlib
import pkgutil

import numpy as np
import pytest

import classifier.estimators
from classifier.estimators import _checks as checks
from classifier.estimators.result import Estimate

MODULES = [module.name for module in pkgutil.iter_modules(classifier.estimators.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_examples_in_docstrings_are_true(name: str) -> None:
    module = importlib.import_module(f"classifier.estimators.{name}")
    found = doctest.testmod(module)
    assert found.failed == 0
    assert found.attempted > 0 or name.startswith("_")  # private ones are shown by their users


@pytest.mark.parametrize("values", [[], 3.0, [[1.0]]])
def test_a_vector_has_one_axis_and_an_entry(values: object) -> None:
    with pytest.raises(ValueError, match=r"x has shape .*: give a vector with at least one entry"):
        checks.vector(values, "x")  # type: ignore[arg-type]


@pytest.mark.parametrize("values", [[], [1.0, 2.0], [[1.0], [2.0]], np.empty((0, 2))])
def test_a_matrix_has_rows_and_two_columns(values: object) -> None:
    with pytest.raises(ValueError, match=r"x has shape .*: give a matrix with one row or more"):
        checks.matrix(values, "x")  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_values_must_be_finite(bad: float) -> None:
    with pytest.raises(ValueError, match="x holds values that are not finite: leave those entries"):
        checks.vector([1.0, bad], "x")
    with pytest.raises(ValueError, match="x holds values that are not finite: leave those rows"):
        checks.matrix([[1.0, bad]], "x")


def test_lengths_must_agree() -> None:
    assert checks.same_length(a=np.zeros(3), b=np.zeros(3)) == 3
    with pytest.raises(ValueError, match=r"lengths differ: \{'a': 3, 'b': 2\}; give one entry"):
        checks.same_length(a=np.zeros(3), b=np.zeros(2))


def test_flags_are_zeros_and_ones() -> None:
    assert checks.flags([1, 0, True], "x").tolist() == [True, False, True]
    with pytest.raises(ValueError, match="x holds other values than 0 and 1: give true or false"):
        checks.flags([0, 2], "x")


@pytest.mark.parametrize("bad", [[-0.1, 0.5], [0.5, 1.1]])
def test_probabilities_are_from_0_to_1(bad: list[float]) -> None:
    assert checks.probabilities([0, 1], "p").tolist() == [0, 1]
    with pytest.raises(ValueError, match=r"p ranges from .*: give probabilities from 0 to 1"):
        checks.probabilities(bad, "p")


@pytest.mark.parametrize("level", [0, 1, 90, -0.5, float("nan")])
def test_a_level_is_a_fraction(level: float) -> None:
    with pytest.raises(ValueError, match=r"level .* is not between 0 and 1: write 0.90 for 90 %"):
        checks.level_of(level)


def test_whole_numbers_have_a_least() -> None:
    assert checks.whole_from(2, 2, "n") == 2
    with pytest.raises(ValueError, match="n 1 is too small: give at least 2"):
        checks.whole_from(1, 2, "n")


@pytest.mark.parametrize(
    ("value", "low", "high", "level", "n", "message"),
    [
        (float("nan"), 0, 1, 0.9, 3, "m: value or interval is not a number"),
        (0, float("nan"), 1, 0.9, 3, "m: value or interval is not a number"),
        (0, 0, float("nan"), 0.9, 3, "m: value or interval is not a number"),
        (0, 1, 0.5, 0.9, 3, "m: low 1 is above high 0.5"),
        (0, 0, 1, 95, 3, "level 95 is not between 0 and 1"),
        (0, 0, 1, 0.9, 0, "m: n is 0; an estimate rests on at least 1 unit"),
    ],
)
def test_what_is_no_estimate(
    value: float, low: float, high: float, level: float, n: int, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        Estimate(value, low, high, level, "1", "m", n, ())
