from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from classifier.estimators.logratio import closed, clr, clr_inverse
from classifier.estimators.logratio_summary import logratio_summary, replace_zeros

SORTS = [[10.0, 30.0, 60.0], [20.0, 20.0, 60.0], [0.0, 50.0, 50.0]]


def test_the_inverse_undoes() -> None:
    parts = closed(SORTS[:2])
    assert clr_inverse(clr(parts)) == pytest.approx(parts)
    assert clr_inverse([1000.0, 0.0]).tolist() == [1.0, 0.0]


def test_replacement_keeps_ratios_of_what_was_found() -> None:
    filled = replace_zeros(SORTS, replacement=0.01)
    assert filled[2].tolist() == pytest.approx([0.01, 0.495, 0.495])
    assert filled[0].tolist() == pytest.approx([0.1, 0.3, 0.6])
    assert replace_zeros(SORTS)[2, 0] == pytest.approx(1 / 9)


def test_summary_by_hand() -> None:
    """Geometric means over two sorts 1:4 and 4:4: 2 and 4; ln(x1/x2) is -ln 4 and 0."""
    summary = logratio_summary([[1, 4], [4, 4]])
    assert summary.centre == pytest.approx([1 / 3, 2 / 3])
    variance = np.log(4) ** 2 / 2
    assert summary.variation == pytest.approx(np.array([[0, variance], [variance, 0]]))
    assert summary.clr_sd**2 == pytest.approx([variance / 4] * 2)
    assert summary.total_variance == pytest.approx(variance / 2)
    assert summary.sensitivity == pytest.approx([1, 1])
    assert (summary.zeros.tolist(), summary.n) == ([0, 0], 2)
    assert summary.assumptions[-1].startswith("0 of 4 values are zeros, replaced by 0.25")


def test_summary_states_the_replacement_and_how_much_it_matters() -> None:
    summary = logratio_summary(SORTS, replacement=0.001)
    assert summary.zeros.tolist() == [1, 0, 0]
    assert summary.replacement == 0.001
    assert summary.assumptions[-1] == (
        "1 of 9 values are zeros, replaced by 0.001 of the sort (multiplicative replacement)"
    )
    # One zero in three sorts: half the replacement lowers the geometric mean by 2^(1/3).
    assert summary.sensitivity[0] < 0.85 < 1 < summary.sensitivity[1]
    assert logratio_summary(SORTS).replacement == pytest.approx(1 / 9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: closed([1.0]), r"parts have shape \(1,\): give two categories or more"),
        (lambda: closed(1.0), r"parts have shape \(\)"),
        (lambda: closed([1.0, -1.0]), "parts hold values below 0 or not finite"),
        (lambda: closed([np.inf, 1.0]), "parts hold values below 0 or not finite"),
        (lambda: closed([[1, 1], [0, 0]]), "parts add to 0 in a sort: leave it out"),
        (lambda: clr(SORTS), r"a part is 0 and has no logarithm: replace zeros first"),
        (lambda: clr_inverse([1.0]), r"coordinates must be finite, 2 or more; got shape \(1,\)"),
        (lambda: clr_inverse(1.0), "coordinates must be finite, 2 or more"),
        (lambda: clr_inverse([np.nan, 1.0]), "coordinates must be finite, 2 or more"),
        (lambda: replace_zeros(SORTS, replacement=0.0), "replacement 0.0 must be above 0"),
        (lambda: replace_zeros(SORTS, replacement=1.0), "replacement 1.0 must be above 0"),
    ],
)
def test_refusals(call: Callable[[], object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()
