"""Hypothesis settings: a shared or busy machine must not fail an example for being slow."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("tallytare", deadline=None)
settings.load_profile("tallytare")

_COUNTED = {"test_ledger.py", "test_programme.py", "test_report.py", "test_suggestion.py"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Count branches for few of these: the unit tests reach them, and counting doubles the time."""
    for item in items:
        if item.path.parent == Path(__file__).parent and item.path.name not in _COUNTED:
            item.add_marker(pytest.mark.no_cover)
