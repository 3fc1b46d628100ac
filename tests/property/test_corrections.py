"""Properties of corrections: what changes nothing, what permutes, what scales."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from classifier.estimators.agreement import cohen_kappa, fleiss_kappa
from classifier.estimators.audit_size import audits_for_shares
from classifier.estimators.corrected import Correction
from classifier.estimators.corrections import pool_sparse_strata, post_stratified_counts
from classifier.estimators.krippendorff import krippendorff_alpha

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


@given(arrays(float, K, elements=st.floats(0.05, 0.95)), extras, orders, st.floats(0.01, 0.3))
def test_plans_permute_and_tighten(
    users: np.ndarray, extra: np.ndarray, order: list[int], width: float
) -> None:
    q = np.full((K, K), 0.1) + np.diag(users)
    q /= q.sum(axis=1, keepdims=True)
    plan = audits_for_shares(extra, q, width, categories=NAMES)
    other = audits_for_shares(
        extra[order], q[np.ix_(order, order)], width, categories=[NAMES[i] for i in order]
    )
    # Equal remainders are rounded up for whichever comes first.
    assert abs(plan.audits - other.audits) <= K
    assert plan.audits <= extra.sum()
    assert audits_for_shares(extra, q, width / 2, categories=NAMES).audits >= plan.audits


ratings = arrays(int, (3, 12), elements=st.integers(1, 4))


@given(ratings, st.permutations(range(12)), st.permutations(range(3)))
def test_agreement_ignores_the_order_of_items_people_and_names(
    given_: np.ndarray, items: list[int], people: list[int]
) -> None:
    assume(np.unique(given_).size > 1)
    shuffled = given_[np.ix_(people, items)]
    one = krippendorff_alpha(given_.tolist(), blind=True, draws=100)
    other = krippendorff_alpha(shuffled.tolist(), blind=True, draws=100)
    assert other.value == pytest.approx(one.value, abs=1e-9)
    assert (other.low, other.high) == pytest.approx((one.low, one.high), abs=1e-9)
    scaled = krippendorff_alpha((7 * given_).tolist(), blind=True, draws=100)
    assert scaled.value == pytest.approx(one.value)
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
