"""Numbers of audits against a published example."""

from __future__ import annotations

from classifier.estimators.audit_size import audits_for_accuracy

Z = 1.959963984540054


def test_code_c_olofsson_2014_sample_size() -> None:
    """Olofsson et al., RSE 148 (2014) 42-57, section 5.1.1: user's accuracies .70 .60 .90 .95 and a
    standard error of 0.01 of the overall accuracy need 641 (from memory, arithmetic checked: C).
    """
    plan = audits_for_accuracy(
        [200_000, 150_000, 3_200_000, 6_450_000],
        [0.70, 0.60, 0.90, 0.95],
        0.01 * Z,
        categories=["D", "G", "F", "NF"],
        optimum=True,
    )
    assert plan.audits == 641
