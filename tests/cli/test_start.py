"""What a start of the service loads, and that it does not wait for the model."""

from __future__ import annotations

import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from classifier.inference.bundle import load_bundle
from service.bundles import registry
from service.settings import Settings
from service.wiring import build_services

_LATER = "scipy.linalg scipy.optimize scipy.special scipy.stats cryptography alembic torch".split()


def test_parts_that_few_starts_need_are_left_out() -> None:
    program = (
        "import sys, service.cli.main, service.cli.serve, service.app, service.cli.listening;"
        f"print(*(name for name in {_LATER} if name in sys.modules))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=60
    )
    assert ran.stdout.split() == []


def test_services_are_there_before_the_model(
    tiny: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    load, go_on = load_bundle, threading.Event()

    def slowly(path: Path) -> object:
        assert go_on.wait(60)
        return load(path)

    monkeypatch.setattr(registry, "load_bundle", slowly)
    services = build_services(Settings(data_dir=tmp_path, bundle=str(tiny)))
    try:
        with ThreadPoolExecutor(1) as pool:
            asked = pool.submit(lambda: services.model)
            go_on.set()
            model = asked.result(60)
        assert model is not None
        assert model.name == "tiny"
    finally:
        services.close()
