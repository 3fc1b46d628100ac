from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from classifier.estimators.audit_accuracy import accuracy_by_prediction
from classifier.estimators.corrected import Correction
from classifier.estimators.corrections import pool_sparse_strata, post_stratified_counts
from classifier.estimators.stratified_audit import audit_by_strata

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


def test_accuracy_by_hand() -> None:
    result = accuracy_by_prediction([[18, 2], [5, 15]], [60, 140], categories=NAMES, blind=True)
    assert result.overall.value == pytest.approx(0.3 * 0.9 + 0.7 * 0.75)
    assert [e.value for e in result.users if e] == pytest.approx([0.9, 0.75])
    assert result.producers[0] is not None
    assert result.producers[0].value == pytest.approx(0.27 / 0.445)
    assert result.producers[0].method.startswith("producer's accuracy, stratified ratio")
    wider = accuracy_by_prediction(
        [[18, 2], [5, 15]], [60, 140], categories=NAMES, blind=False, finite=False
    )
    assert wider.overall.high > result.overall.high
    assert codes(result) == ["outside_range"]
    assert result.caveats[0].text.endswith("user's of can, producer's of jar.")
    assert codes(wider) == ["anchored", "outside_range"]


def test_accuracy_of_what_never_occurred_is_none() -> None:
    table = [[20, 1, 0], [1, 9, 0], [0, 0, 0]]
    result = accuracy_by_prediction(table, [90, 40, 0], categories=list("abc"), blind=True)
    assert result.users[2] is None
    assert result.producers[2] is None
    some = accuracy_by_prediction(
        [[20, 0], [0, 3]], [90, 40], categories=["can", "jar"], blind=True
    )
    assert codes(some) == ["few_verified", "no_width"]
    assert some.caveats[1].text.endswith(
        "overall, user's of can, user's of jar, producer's of can, producer's of jar."
    )


def test_accuracy_refusals() -> None:
    with pytest.raises(ValueError, match=r"confusion has shape \(2, 3\): accuracy needs the same"):
        accuracy_by_prediction([[2, 0, 1], [0, 2, 1]], [9, 9], categories=list("abc"), blind=True)
    with pytest.raises(ValueError, match="lengths differ"):
        accuracy_by_prediction([[2, 0], [0, 2]], [9], categories=NAMES, blind=True)
    with pytest.raises(ValueError, match="jar: 0 of 9 items verified"):
        accuracy_by_prediction([[2, 0], [0, 0]], [9, 9], categories=NAMES, blind=True)
    with pytest.raises(ValueError, match="level 95"):
        accuracy_by_prediction([[2, 0], [0, 2]], [9, 9], categories=NAMES, blind=True, level=95)


def test_strata_that_are_the_predictions_agree_with_post_stratification() -> None:
    table = np.array([[18, 2], [5, 15]])
    predicted = ["can"] * 20 + ["jar"] * 20
    confirmed = ["can"] * 18 + ["jar"] * 2 + ["can"] * 5 + ["jar"] * 15
    sizes = {"can": 60, "jar": 140, "lid": 0}
    audit = audit_by_strata(
        predicted, predicted, confirmed, stratum_sizes=sizes, categories=NAMES, blind=True
    )
    same = corrected_with(interval="normal")
    for one, other in zip(audit.correction.shares, same.shares, strict=True):
        assert (one.value, one.low, one.high) == pytest.approx((other.value, other.low, other.high))
    accuracy = accuracy_by_prediction(table, [60, 140], categories=NAMES, blind=True)
    assert audit.accuracy.overall.low == pytest.approx(accuracy.overall.low)
    assert audit.cells == pytest.approx(np.array([[0.27, 0.03], [0.175, 0.525]]))
    assert codes(audit.correction) == []


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"categories": ["can"]}, "categories has 1 names: give at least two"),
        ({"confirmed": ["can"]}, "lengths differ: {'strata': 2, 'predicted': 2, 'confirmed': 1}"),
        ({"confirmed": ["can", "lid"]}, "confirmed holds lid, .* give one of can, jar"),
        ({"predicted": ["lid", "can"]}, "predicted holds lid, which is not given"),
        ({"strata": ["mon", "tue"]}, "strata holds tue, which is not given: give one of mon"),
        ({"stratum_sizes": {"mon": 9, "tue": 9}}, "tue: 0 of 9 items verified"),
        ({"stratum_sizes": {"mon": 1}}, "mon: 2 verified of 1 items"),
        ({"level": 95}, "level 95 is not between"),
        ({"strata": [], "predicted": [], "confirmed": []}, "strata is empty: give one entry"),
    ],
)
def test_stratified_audit_refusals(change: dict[str, Any], message: str) -> None:
    given: dict[str, Any] = {
        "strata": ["mon", "mon"],
        "predicted": ["can", "jar"],
        "confirmed": ["can", "jar"],
        "stratum_sizes": {"mon": 9},
        "categories": NAMES,
        **change,
    }
    with pytest.raises(ValueError, match=message):
        audit_by_strata(
            given.pop("strata"), given.pop("predicted"), given.pop("confirmed"), blind=True, **given
        )


def test_stratified_audit_caveats_and_level() -> None:
    given: tuple[list[str], ...] = (["mon"] * 3, ["can", "jar", "jar"], ["can", "jar", "can"])
    wide, narrow = (
        audit_by_strata(
            *given, stratum_sizes={"mon": 9}, categories=NAMES, blind=False, level=level
        ).correction
        for level in (0.99, 0.5)
    )
    assert wide.shares[0].low < narrow.shares[0].low
    assert codes(narrow) == ["anchored", "few_verified"]
