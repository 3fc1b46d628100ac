from __future__ import annotations

import math
from typing import Any

import pytest

from classifier.estimators.corrected import Correction
from classifier.estimators.corrections import pool_sparse_strata, post_stratified_counts

NAMES = ["can", "jar"]


def corrected_with(**options: Any) -> Correction:
    given: dict[str, Any] = {"categories": NAMES, "blind": True, **options}
    return post_stratified_counts(
        given.pop("confusion", [[18, 2], [5, 15]]), given.pop("counts", [60, 140]), **given
    )


def codes(result: Any) -> list[str]:
    return [caveat.code for caveat in result.caveats]


def test_worked_by_hand() -> None:
    """0.3 x 0.9 + 0.7 x 0.25 = 0.445 of 200 items; S^2 with 1/3 and 1/7 of the strata verified."""
    result = corrected_with(interval="normal")
    assert result.shares[0].value == pytest.approx(0.445)
    assert result.counts[0].value == pytest.approx(89)
    variance = 0.09 * (2 / 3) * 0.09 / 19 + 0.49 * (6 / 7) * 0.1875 / 19
    half = 1.959963984540054 * math.sqrt(variance)
    assert result.shares[0].high - result.shares[0].value == pytest.approx(half)
    assert result.counts[0].high - result.counts[0].value == pytest.approx(200 * half)
    assert result.categories == ("can", "jar")
    assert (result.shares[0].unit, result.counts[0].unit) == ("1", "items")
    assert result.shares[0].n == 40
    assert codes(result) == []
    assert result.shares[0].method == "post-stratified by prediction, normal interval"


def test_options_change_the_interval_and_are_named() -> None:
    widths = {}
    for population in ("finite", "large", "sampled"):
        for interval in ("wilson", "normal"):
            share = corrected_with(population=population, interval=interval).shares[0]
            widths[population, interval] = share.high - share.low
            assert interval in share.method
    assert len({round(width, 9) for width in widths.values()}) == 6
    for interval in ("wilson", "normal"):
        assert widths["finite", interval] < widths["large", interval] < widths["sampled", interval]
    wide, narrow = corrected_with(level=0.99).shares[0], corrected_with(level=0.9).shares[0]
    assert wide.high - wide.low > narrow.high - narrow.low
    assert (
        corrected_with(population="sampled").shares[0].assumptions[-1].startswith("the items are")
    )


def test_all_verified_leaves_no_error() -> None:
    result = corrected_with(confusion=[[9, 1], [0, 1]], counts=[10, 1])
    assert [count.value for count in result.counts] == pytest.approx([9, 2])
    assert result.counts[0].high - result.counts[0].low == pytest.approx(0)
    assert codes(result) == ["no_width"]


def test_no_error_met_still_has_a_width_with_wilson_only() -> None:
    options: dict[str, Any] = {"confusion": [[5, 0], [0, 5]], "counts": [50, 50]}
    wilson = corrected_with(**options)
    assert wilson.shares[0].low < 0.4
    assert codes(wilson) == []
    normal = corrected_with(interval="normal", **options)
    assert codes(normal) == ["no_width"]
    assert normal.caveats[0].text.endswith("in few checks: can, jar.")


def test_caveats() -> None:
    assert codes(corrected_with(blind=False)) == ["anchored"]
    few = corrected_with(confusion=[[3, 1], [5, 15]])
    assert codes(few) == ["few_verified"]
    assert few.caveats[0].text.endswith("guide: can.")
    far = corrected_with(confusion=[[1, 30], [0, 30]], counts=[500, 100], interval="normal")
    assert codes(far) == ["outside_range"]
    assert far.shares[0].low < 0
    assert far.shares[1].high > 1
    assert far.caveats[0].text.endswith("normal interval: can, jar.")
    # All of a small stratum verified is not few.
    assert codes(corrected_with(confusion=[[3, 1], [5, 15]], counts=[4, 140])) == []


def test_a_stratum_without_items_does_not_matter() -> None:
    result = post_stratified_counts(
        [[18, 2, 1], [5, 15, 0], [0, 0, 0]],
        [60, 140, 0],
        categories=["can", "jar", "lid"],
        blind=True,
    )
    assert sum(share.value for share in result.shares) == pytest.approx(1)
    assert result.shares[2].value == pytest.approx(0.3 / 21)
    assert codes(result) == []


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"level": 95}, "level 95 is not between 0 and 1"),
        ({"population": "all"}, "population 'all' is not known: give one of finite, large, sampl"),
        ({"interval": "exact"}, "interval 'exact' is not known: give one of wilson, normal"),
        ({"confusion": [[1.5, 1], [2, 2]]}, "confusion holds a number that is no count"),
        ({"confusion": [[-1, 1], [2, 2]]}, "confusion holds a number that is no count"),
        ({"counts": [60, -1]}, r"stratum_counts goes down to -1.0: none may be below 0"),
        ({"counts": [0, 0]}, "stratum_counts is 0 throughout: there is nothing to correct"),
        ({"counts": [60, 140, 1]}, "lengths differ"),
        ({"categories": ["can"]}, "categories gives 1 names for 2 entries: give one for each"),
        ({"categories": ["can", "can"]}, "categories gives can more than once: use different"),
        ({"strata": ["x"]}, "strata gives 1 names for 2 entries"),
        ({"confusion": [[0, 0], [5, 15]]}, "can: 0 of 60 items verified, too few .*at least 2"),
        ({"confusion": [[1, 0], [5, 15]]}, "can: 1 of 60 items verified, too few .*pool_sparse"),
        ({"counts": [19, 140]}, "can: 20 verified of 19 items: the verified are a part"),
    ],
)
def test_refusals(options: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        corrected_with(**options)


def test_sparse_strata_are_joined() -> None:
    table = [[20, 1], [1, 0], [0, 0], [2, 5], [0, 0]]
    pooled = pool_sparse_strata(table, [80, 9, 4, 30, 0], strata=list("abcde"))
    # b alone has one, so the next smallest (d) joins.
    assert pooled.strata == ("a", "b + c + d")
    assert pooled.confusion.tolist() == [[20, 1], [3, 5]]
    assert pooled.stratum_counts.tolist() == [80, 43]
    result = post_stratified_counts(
        pooled.confusion,
        pooled.stratum_counts,
        categories=NAMES,
        strata=pooled.strata,
        blind=True,
    )
    assert result.counts[0].value == pytest.approx(80 * 20 / 21 + 43 * 3 / 8)


def test_enough_verified_strata_are_left_as_they_are() -> None:
    pooled = pool_sparse_strata([[2, 0], [0, 1]], [9, 1], strata=NAMES)
    assert pooled.strata == ("can", "jar")
    assert pool_sparse_strata([[3, 0], [0, 4]], [9, 9], strata=NAMES, least=4).strata == (
        "can + jar",
    )


def test_pooling_refusals() -> None:
    with pytest.raises(ValueError, match="least 1 is too small: give at least 2"):
        pool_sparse_strata([[2, 0]], [9], strata=["a"], least=1)
    with pytest.raises(ValueError, match="1 items verified in all: verify at least 2"):
        pool_sparse_strata([[1, 0], [0, 0]], [9, 9], strata=NAMES)
