from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from classifier.estimators.audit_accuracy import accuracy_by_prediction
from classifier.estimators.audit_size import AuditPlan, audits_for_accuracy, audits_for_shares
from classifier.estimators.corrections import post_stratified_counts

NAMES = ["can", "jar"]
Q = np.array([[0.9, 0.1], [0.2, 0.8]])


def accuracy_plan(counts: Any = (600, 400), width: float = 0.05, **options: Any) -> AuditPlan:
    given = {"users": [0.9, 0.8], "categories": NAMES, **options}
    return audits_for_accuracy(counts, given.pop("users"), width, **given)


def share_plan(counts: Any = (600, 400), width: float = 0.05, **options: Any) -> AuditPlan:
    given = {"expected": Q, "categories": NAMES, **options}
    return audits_for_shares(counts, given.pop("expected"), width, **given)


def codes(plan: AuditPlan) -> list[str]:
    return [caveat.code for caveat in plan.caveats]


def test_accuracy_plan_by_hand() -> None:
    """Sum W S^2 = .6 x .09 + .4 x .16 = .118; V = (.05 / 1.96)^2; n = .118 / (V + .118 / 1000)."""
    plan = accuracy_plan()
    assert plan.audits == int(np.ceil(0.118 / ((0.05 / 1.959963984540054) ** 2 + 0.118 / 1000)))
    assert sum(plan.by_category) == plan.audits == 154
    assert plan.by_category == (92, 62)
    assert plan.half_width == pytest.approx(0.05, abs=0.0003)
    assert (plan.decided_by, plan.categories, codes(plan)) == ("overall", ("can", "jar"), [])


def test_the_plan_gives_the_precision_that_it_promises() -> None:
    plan = accuracy_plan((6000, 4000), 0.02)
    n = np.array(plan.by_category)
    table = np.round(n[:, None] * Q).astype(int)
    table[:, 1] = n - table[:, 0]
    got = accuracy_by_prediction(table, [6000, 4000], categories=NAMES, blind=True).overall
    assert (got.high - got.low) / 2 == pytest.approx(plan.half_width, rel=0.01)
    shares = share_plan((6000, 4000), 0.02)
    n = np.array(shares.by_category)
    table = np.round(n[:, None] * Q).astype(int)
    table[:, 1] = n - table[:, 0]
    corrected = post_stratified_counts(
        table, [6000, 4000], categories=NAMES, blind=True, interval="normal"
    ).shares[0]
    assert (corrected.high - corrected.low) / 2 == pytest.approx(shares.half_width, rel=0.01)


def test_optimum_needs_fewer_and_audits_the_uncertain_more_often() -> None:
    options: dict[str, Any] = {"counts": (5000, 5000), "users": [0.99, 0.6]}
    even, best = accuracy_plan(**options), accuracy_plan(optimum=True, **options)
    assert best.audits < even.audits
    assert best.by_category[1] > 4 * best.by_category[0]
    assert best.half_width == pytest.approx(0.05, abs=0.001)


def test_optimum_audits_no_more_than_there_are() -> None:
    plan = accuracy_plan((990, 10), 0.03, users=[0.99, 0.5], optimum=True)
    assert plan.by_category[1] <= 10
    tight = accuracy_plan((990, 10), 0.002, users=[0.99, 0.5], optimum=True)
    assert tight.by_category[1] == 10
    assert tight.by_category[0] > 300
    certain = accuracy_plan((60, 40), users=[1.0, 1.0], optimum=True)
    assert certain.by_category == (2, 2)


def test_least_is_on_top_and_rare_ones_are_named() -> None:
    plan = accuracy_plan((9990, 10), least=2)
    assert plan.by_category[1] == 2
    assert codes(plan) == ["rare"]
    assert "by themselves: jar." in plan.caveats[0].text
    assert accuracy_plan((9990, 10), least=6).by_category[1] == 6
    assert accuracy_plan((9999, 1)).by_category[1] == 1
    assert share_plan((9990, 10), least=6).by_category[1] == 6


def test_all_items_where_nothing_less_will_do() -> None:
    for plan in (accuracy_plan((6, 4), 0.001), share_plan((6, 4), 0.001)):
        assert plan.by_category == (6, 4)
        assert codes(plan) == ["all"]
        assert plan.half_width == 0


def test_a_category_without_items_needs_none() -> None:
    assert accuracy_plan((600, 0)).by_category[1] == 0
    assert share_plan((600, 0)).by_category[1] == 0


def test_share_plan_names_what_decides() -> None:
    expected = [[0.9, 0.05, 0.05], [0.1, 0.55, 0.35]]
    plan = share_plan(expected=expected, categories=list("abc"), strata=["p", "q"])
    assert plan.decided_by == "b"
    assert plan.categories == ("p", "q")
    assert plan.half_width <= 0.05
    one_less = plan.audits - 1
    spread = np.array(expected) * (1 - np.array(expected))
    a, b = np.array([0.6, 0.4]) @ spread, np.array([0.4, 0.6]) @ spread
    variance = (1 / one_less - 1 / 1000) * a + b / one_less**2
    assert 1.959963984540054 * variance.max() ** 0.5 > 0.05
    assert share_plan(level=0.5).audits < share_plan().audits
    assert accuracy_plan(level=0.5).audits < accuracy_plan().audits


@pytest.mark.parametrize("make", [accuracy_plan, share_plan])
@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"width": 5}, "half_width 5 is not between 0 and 1: write 0.05"),
        ({"width": 0}, "half_width 0 is not between 0 and 1"),
        ({"level": 95}, "level 95 is not between"),
        ({"least": 1}, "least 1 is too small: give at least 2"),
        ({"counts": (1.5, 2)}, "predicted_counts holds a number that is no count"),
        ({"counts": (0, 0)}, "predicted_counts is 0 throughout"),
        ({"counts": (1, 2, 3)}, "lengths differ"),
        ({"categories": ["can"]}, "categories gives 1 names"),
    ],
)
def test_refusals(make: Any, options: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make(**options)


def test_expectations_are_shares() -> None:
    with pytest.raises(ValueError, match=r"expected ranges from 0.8 to 9.0"):
        accuracy_plan(users=[9, 0.8])
    with pytest.raises(ValueError, match="expected must not be below 0 and each row must add to 1"):
        share_plan(expected=[[0.9, 0.2], [0.2, 0.8]])
    with pytest.raises(ValueError, match="expected must not be below 0"):
        share_plan(expected=[[1.1, -0.1], [0.2, 0.8]])
    with pytest.raises(ValueError, match="strata gives 1 names for 2 entries"):
        share_plan(strata=["p"])
