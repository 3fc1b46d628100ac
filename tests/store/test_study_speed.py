"""Large studies, a tenth of the size that `python -m tests.study_speed` measures.

Processor time, not the clock: other work on the machine must not decide.
"""

from __future__ import annotations

import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from classifier.estimators.study_bootstrap import bootstrap_study
from tests.study_speed import measure
from tests.study_store import write_study

pytestmark = pytest.mark.slow


def test_a_tenth_of_the_large_study_is_reported_in_a_fraction_of_the_time(tmp_path: Path) -> None:
    """200 sorts x 40 categories x 100,000 items; the whole is to take 2 s, this half of that."""
    store = tmp_path / "study.sqlite3"
    write_study(store, n_sorts=200, n_categories=40, n_items=100_000).close()
    found = measure(store, draws=0, divisions=0)
    assert found["sorts"] == 200
    assert found["processor_s"] < 1.0


def test_2000_draws_of_2000_sorts_by_40_categories_with_progress() -> None:
    grams = np.random.default_rng(1).lognormal(6, 1, (2000, 40))
    said: list[tuple[int, int]] = []
    tracemalloc.start()
    started = time.process_time()
    estimates = bootstrap_study([grams], progress=lambda done, total: said.append((done, total)))
    worked = time.process_time() - started
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(estimates) == 40
    assert worked < 5
    assert peak < 200e6
    assert len(said) >= 8
    assert said[-1] == (2000, 2000)
