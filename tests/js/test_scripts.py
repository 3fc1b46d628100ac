"""The scripts' logic, run by Node's own test runner: no build step, no packages, no browser."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
SCRIPTS = HERE.parents[1] / "service" / "web" / "static" / "js"


@pytest.fixture(scope="module")
def node() -> str:
    """Return the command; without Node the tests are skipped, in CI they fail."""
    found = shutil.which("node")
    if found is None:
        reason = "no Node on this machine: install it, on Debian with apt-get install nodejs"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


@pytest.mark.parametrize("script", sorted(HERE.glob("*.test.js")), ids=lambda path: path.name)
def test_script(node: str, tmp_path: Path, script: Path) -> None:
    """Beside a package.json that calls them modules, as the page does."""
    shutil.copytree(SCRIPTS, tmp_path / "js")
    shutil.copytree(HERE, tmp_path / "tests", ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    (tmp_path / "package.json").write_text('{"type": "module"}', encoding="utf-8")
    command = [node, "--test", "--test-reporter=tap", f"tests/{script.name}"]
    ran = subprocess.run(
        command, cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "# fail 0" in ran.stdout
    assert "# pass 0" not in ran.stdout
