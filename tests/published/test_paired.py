"""McNemar's exact test against statsmodels (issue 3, outside checks)."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.contingency_tables import mcnemar

from classifier.estimators.paired import mcnemar_exact, paired_accuracy


@pytest.mark.parametrize(
    ("only_first", "only_second"), [(0, 0), (0, 1), (0, 6), (3, 3), (7, 12), (40, 21), (150, 86)]
)
def test_agrees_with_statsmodels(only_first: int, only_second: int) -> None:
    """Source: statsmodels.stats.contingency_tables.mcnemar(table, exact=True)."""
    theirs = mcnemar([[30, only_first], [only_second, 12]], exact=True).pvalue
    assert mcnemar_exact(only_first, only_second) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_whole_tables_agree_with_statsmodels(seed: int) -> None:
    generator = np.random.default_rng(seed)
    first, second = generator.random(200) < 0.75, generator.random(200) < 0.68
    table = np.zeros((2, 2))
    np.add.at(table, (first.astype(int), second.astype(int)), 1)
    compared = paired_accuracy(first, second, np.arange(200))
    assert [[compared.neither, compared.only_second], [compared.only_first, compared.both]] == (
        table.tolist()
    )
    assert compared.p_value == pytest.approx(mcnemar(table, exact=True).pvalue, rel=1e-12)
    # A rough check: normal interval of the paired difference (Agresti 2002, 10.1; code D).
    b, c, n = compared.only_first, compared.only_second, compared.n
    half = 1.96 * np.sqrt((b + c) - (b - c) ** 2 / n) / n
    middle = (b - c) / n
    assert compared.difference.value == pytest.approx(middle)
    assert (compared.difference.low, compared.difference.high) == pytest.approx(
        (middle - half, middle + half), abs=0.02
    )
