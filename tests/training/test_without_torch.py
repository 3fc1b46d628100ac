"""Serving never loads torch, nor anything else of the training extra."""

from __future__ import annotations

import subprocess
import sys

import pytest

EXTRA = ("torch", "torchvision", "timm", "sklearn", "training")


@pytest.mark.parametrize("modules", ["service.app, service.cli.main", "service.cli.extra"])
def test_serving_imports_nothing_of_the_training_extra(modules: str) -> None:
    code = f"import sys, {modules}; print(sorted(set(sys.modules) & set({EXTRA!r})))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
