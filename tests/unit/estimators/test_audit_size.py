from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from classifier.estimators.audit_size import AuditPlan, audits_for_shares
from classifier.estimators.corrections import post_stratified_counts

NAMES = ["can", "jar"]
Q = np.array([[0.9, 0.1], [0.2, 0.8]])


def share_plan(counts: Any = (600, 400), width: float = 0.05, **options: Any) -> AuditPlan:
    given = {"expected": Q, "categories": NAMES, **options}
    return audits_for_shares(counts, given.pop("expected"), width, **given)


def codes(plan: AuditPlan) -> list[str]:
    return [caveat.code for caveat in plan.caveats]


def test_the_plan_gives_the_precision_that_it_promises() -> None:
    plan = share_plan((6000, 4000), 0.02)
    n = np.array(plan.by_category)
    table = np.round(n[:, None] * Q).astype(int)
    table[:, 1] = n - table[:, 0]
    corrected = post_stratified_counts(
        table, [6000, 4000], categories=NAMES, blind=True, interval="normal"
    ).shares[0]
    assert sum(plan.by_category) == plan.audits
    assert (corrected.high - corrected.low) / 2 == pytest.approx(plan.half_width, rel=0.01)


def test_least_is_on_top_and_rare_ones_are_named() -> None:
    plan = share_plan((9990, 10), least=2)
    assert plan.by_category[1] == 2
    assert codes(plan) == ["rare"]
    assert "by themselves: jar." in plan.caveats[0].text
    assert share_plan((9999, 1)).by_category[1] == 1
    assert share_plan((9990, 10), least=6).by_category[1] == 6


def test_all_items_where_nothing_less_will_do() -> None:
    plan = share_plan((6, 4), 0.001)
    assert plan.by_category == (6, 4)
    assert codes(plan) == ["all"]
    assert plan.half_width == 0


def test_a_category_without_items_needs_none() -> None:
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
def test_refusals(options: dict[str, Any], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        share_plan(**options)


def test_expectations_are_shares() -> None:
    with pytest.raises(ValueError, match="expected must not be below 0 and each row must add to 1"):
        share_plan(expected=[[0.9, 0.2], [0.2, 0.8]])
    with pytest.raises(ValueError, match="expected must not be below 0"):
        share_plan(expected=[[1.1, -0.1], [0.2, 0.8]])
    with pytest.raises(ValueError, match="strata gives 1 names for 2 entries"):
        share_plan(strata=["p"])
