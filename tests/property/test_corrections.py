"""Properties of corrections: what changes nothing, what permutes, what scales."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from classifier.estimators.adjusted_counts import ErrorRates, adjusted_counts
from classifier.estimators.agreement import cohen_kappa, fleiss_kappa
from classifier.estimators.audit_accuracy import accuracy_by_prediction
from classifier.estimators.audit_size import audits_for_accuracy, audits_for_shares
from classifier.estimators.corrected import Correction
from classifier.estimators.corrections import pool_sparse_strata, post_stratified_counts
from classifier.estimators.krippendorff import Metric, krippendorff_alpha
from classifier.estimators.prediction_powered import (
    prediction_powered_counts,
    prediction_powered_mean,
)
from classifier.estimators.proportions import proportion
from classifier.estimators.rogan_gladen import rogan_gladen

K = 4
NAMES = list("abcd")
tables = arrays(int, (K, K), elements=st.integers(0, 12)).map(lambda t: t + np.eye(K, dtype=int))
extras = arrays(int, K, elements=st.integers(1, 500))
orders = st.permutations(range(K))
intervals: st.SearchStrategy[Any] = st.sampled_from(["wilson", "normal"])
populations: st.SearchStrategy[Any] = st.sampled_from(["finite", "large", "sampled"])


def ends(correction: Correction) -> np.ndarray:
    """Return value, low and high of each share, of shape (K, 3)."""
    return np.array([(e.value, e.low, e.high) for e in correction.shares])


def post_stratified(table: np.ndarray, sizes: np.ndarray, **options: Any) -> Correction:
    return post_stratified_counts(table, sizes, **{"categories": NAMES, "blind": True, **options})


@given(arrays(int, K, elements=st.integers(2, 50)), extras, intervals, populations)
def test_no_confusion_changes_nothing(
    verified: np.ndarray, extra: np.ndarray, interval: Any, population: Any
) -> None:
    sizes = verified + extra
    result = post_stratified(np.diag(verified), sizes, interval=interval, population=population)
    assert [count.value for count in result.counts] == pytest.approx(sizes.tolist())
    accuracy = accuracy_by_prediction(np.diag(verified), sizes, categories=NAMES, blind=True)
    assert accuracy.overall.value == pytest.approx(1)


@given(tables, extras, orders, intervals, populations)
def test_renaming_categories_renames_the_result(
    table: np.ndarray, extra: np.ndarray, order: list[int], interval: Any, population: Any
) -> None:
    sizes = table.sum(axis=1) + extra
    assume(table.sum(axis=1).min() >= 2)
    options: dict[str, Any] = {"interval": interval, "population": population}
    one = ends(post_stratified(table, sizes, **options))
    other = ends(post_stratified(table[np.ix_(order, order)], sizes[order], **options))
    assert other == pytest.approx(one[order])


@given(tables, extras, intervals, populations)
def test_shares_add_to_1_and_wilson_stays_within(
    table: np.ndarray, extra: np.ndarray, interval: Any, population: Any
) -> None:
    assume(table.sum(axis=1).min() >= 2)
    sizes = table.sum(axis=1) + extra
    result = post_stratified(table, sizes, interval=interval, population=population)
    values = ends(result)
    assert values[:, 0].sum() == pytest.approx(1)
    assert sum(count.value for count in result.counts) == pytest.approx(sizes.sum())
    assert (values[:, 1] <= values[:, 0] + 1e-12).all()
    assert (values[:, 0] <= values[:, 2] + 1e-12).all()
    if interval == "wilson" and population != "sampled":
        assert values.min() >= -1e-9
        assert values.max() <= 1 + 1e-9


@given(tables, extras, st.integers(2, 50))
def test_more_items_scale_the_counts_only(table: np.ndarray, extra: np.ndarray, times: int) -> None:
    assume(table.sum(axis=1).min() >= 2)
    sizes = table.sum(axis=1) + extra
    one = post_stratified(table, sizes, population="large")
    other = post_stratified(table, times * sizes, population="large")
    assert ends(other) == pytest.approx(ends(one))
    assert other.counts[0].high == pytest.approx(times * one.counts[0].high)


@given(arrays(int, (K, 3), elements=st.integers(0, 3)), extras, st.integers(2, 6))
def test_joining_strata_loses_no_item(table: np.ndarray, extra: np.ndarray, least: int) -> None:
    assume(table.sum() >= least)
    sizes = table.sum(axis=1) + extra
    pooled = pool_sparse_strata(table, sizes, strata=NAMES, least=least)
    assert pooled.confusion.sum(axis=0).tolist() == table.sum(axis=0).tolist()
    assert pooled.stratum_counts.sum() == sizes.sum()
    verified = pooled.confusion.sum(axis=1)
    assert (verified >= np.minimum(least, pooled.stratum_counts)).all()
    assert sorted(" + ".join(pooled.strata).split(" + ")) == NAMES


rates = arrays(float, (K, K), elements=st.floats(0, 0.1)).map(
    lambda noise: (np.eye(K) + noise) / (np.eye(K) + noise).sum(axis=0)
)
shares = arrays(float, K, elements=st.floats(0.01, 1)).map(lambda p: p / p.sum())


@given(rates, shares, orders, st.sampled_from(["finite", "sampled"]))
def test_adjusting_undoes_the_confusion_and_permutes(
    c: np.ndarray, p: np.ndarray, order: list[int], population: Literal["finite", "sampled"]
) -> None:
    behind = np.arange(20.0, 20 + K)
    one = adjusted_counts(
        1000 * (c @ p),
        ErrorRates(c, behind),
        categories=NAMES,
        blind=True,
        population=population,
    ).correction
    assert ends(one)[:, 0] == pytest.approx(p, abs=1e-9)
    other = adjusted_counts(
        1000 * (c @ p)[order],
        ErrorRates(c[np.ix_(order, order)], behind[order]),
        categories=NAMES,
        blind=True,
        population=population,
    ).correction
    assert ends(other) == pytest.approx(ends(one)[order], abs=1e-9)


@given(arrays(int, K, elements=st.integers(1, 500)))
def test_rates_without_error_change_nothing(counts: np.ndarray) -> None:
    known = ErrorRates(np.eye(K), np.full(K, np.inf))
    result = adjusted_counts(counts, known, categories=NAMES, blind=True).correction
    assert [count.value for count in result.counts] == pytest.approx(counts.tolist())
    assert [count.high for count in result.counts] == pytest.approx(counts.tolist())


@given(
    st.integers(20, 80),
    st.floats(0.75, 1),
    st.floats(0.75, 1),
    st.sampled_from(["wilson", "clopper_pearson", "blaker", "normal"]),
)
def test_the_other_category_mirrors_rogan_gladen(
    positives: int, sensitivity: float, specificity: float, interval: Any
) -> None:
    assume(1 - specificity + 0.15 < positives / 100 < sensitivity - 0.15)
    one = rogan_gladen(
        positives, 100, sensitivity=sensitivity, specificity=specificity, interval=interval
    )
    other = rogan_gladen(
        100 - positives, 100, sensitivity=specificity, specificity=sensitivity, interval=interval
    )
    assert one.true.value == pytest.approx(1 - other.true.value)
    assert one.true.low == pytest.approx(1 - other.true.high)


@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_blaker_lies_within_clopper_pearson(case: tuple[int, int]) -> None:
    x, n = case
    inner, outer = (proportion(x, n, interval=kind) for kind in ("blaker", "clopper_pearson"))
    assert outer.low - 1e-9 <= inner.low <= x / n <= inner.high <= outer.high + 1e-9


values = arrays(float, 12, elements=st.floats(-100, 100))


@given(values, values, values, st.floats(0.1, 10), st.floats(-50, 50))
def test_prediction_powered_mean_follows_scale_and_shift(
    truth: np.ndarray, f: np.ndarray, rest: np.ndarray, times: float, shift: float
) -> None:
    assume(np.append(f, rest).std() > 1e-3)
    one = prediction_powered_mean(truth, f, rest, blind=True)
    other = prediction_powered_mean(
        times * truth + shift, times * f + shift, times * rest + shift, blind=True
    )
    assert other.tuning == pytest.approx(one.tuning, abs=1e-6)
    assert other.estimate.high == pytest.approx(times * one.estimate.high + shift, abs=1e-3)
    plain = prediction_powered_mean(truth, f, rest, blind=True, tuning=1)
    moved = prediction_powered_mean(truth, f + shift, rest + shift, blind=True, tuning=1)
    assert moved.estimate.low == pytest.approx(plain.estimate.low, abs=1e-6)
    width = one.estimate.high - one.estimate.low
    # With as many verified as others the tuned one can't lose, whatever the predictions.
    assert width <= (one.classical.high - one.classical.low) + 1e-6


@given(arrays(int, 20, elements=st.integers(0, K - 1)), orders)
def test_perfect_predictions_give_the_count_of_all(labels: np.ndarray, order: list[int]) -> None:
    one_hot = np.eye(K)[labels]
    confirmed = [NAMES[i] for i in labels]
    rest = np.eye(K)[[0, 0, 1, 3]]
    result = prediction_powered_counts(
        confirmed, one_hot, rest, categories=NAMES, blind=True, tuning=1
    )
    assert [share.value for share in result.shares] == pytest.approx([0.5, 0.25, 0, 0.25])
    other = prediction_powered_counts(
        confirmed,
        one_hot[:, order],
        rest[:, order],
        categories=[NAMES[i] for i in order],
        blind=True,
        tuning=1,
    )
    assert ends(other) == pytest.approx(ends(result)[order])


@given(arrays(float, K, elements=st.floats(0.05, 0.95)), extras, orders, st.floats(0.01, 0.3))
def test_plans_permute_and_tighten(
    users: np.ndarray, extra: np.ndarray, order: list[int], width: float
) -> None:
    plan = audits_for_accuracy(extra, users, width, categories=NAMES)
    other = audits_for_accuracy(
        extra[order], users[order], width, categories=[NAMES[i] for i in order]
    )
    # Equal remainders are rounded up for whichever comes first.
    assert abs(plan.audits - other.audits) <= K
    assert plan.half_width <= width * 1.2 + 1e-9 or plan.audits < 10
    tighter = audits_for_accuracy(extra, users, width / 2, categories=NAMES)
    assert tighter.audits >= plan.audits
    q = np.full((K, K), 0.1) + np.diag(users)
    q /= q.sum(axis=1, keepdims=True)
    by_share = audits_for_shares(extra, q, width, categories=NAMES)
    assert by_share.audits <= extra.sum()
    assert audits_for_shares(extra, q, width / 2, categories=NAMES).audits >= by_share.audits


ratings = arrays(int, (3, 12), elements=st.integers(1, 4))


@given(ratings, st.permutations(range(12)), st.permutations(range(3)))
def test_agreement_ignores_the_order_of_items_people_and_names(
    given_: np.ndarray, items: list[int], people: list[int]
) -> None:
    assume(np.unique(given_).size > 1)
    shuffled = given_[np.ix_(people, items)]
    for metric in ("nominal", "ordinal", "interval", "ratio"):
        kind: Metric = metric
        one = krippendorff_alpha(given_.tolist(), metric=kind, blind=True, draws=100)
        other = krippendorff_alpha(shuffled.tolist(), metric=kind, blind=True, draws=100)
        assert other.value == pytest.approx(one.value, abs=1e-9)
        assert (other.low, other.high) == pytest.approx((one.low, one.high), abs=1e-9)
    scaled = krippendorff_alpha((7 * given_).tolist(), metric="ratio", blind=True, draws=100)
    assert scaled.value == pytest.approx(
        krippendorff_alpha(given_.tolist(), metric="ratio", blind=True, draws=100).value
    )
    table = np.stack([(given_ == v).sum(axis=0) for v in range(1, 5)], axis=1)
    renamed = fleiss_kappa(table[:, ::-1], blind=True, draws=100)
    assert renamed.value == pytest.approx(fleiss_kappa(table, blind=True, draws=100).value)


@given(ratings)
def test_two_people_swapped_agree_as_much(given_: np.ndarray) -> None:
    first, second = ([str(v) for v in row] for row in given_[:2])
    assume(len({*first, *second}) > 1)
    assert cohen_kappa(first, second, blind=True, draws=100).value == pytest.approx(
        cohen_kappa(second, first, blind=True, draws=100).value
    )
