"""Rules of the house that a reader could forget: sizes, documents, what is imported."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from service.cli.main import COMMANDS
from service.settings import Settings

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("classifier", "service", "training", "demo_images", "tests")
LINES = 500
TEST_LINES = 700
FUNCTION_LINES = 80


def modules() -> list[Path]:
    """Return every module of ours."""
    return sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(ROOT)))
def test_modules_stay_small_and_say_what_they_are(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    most = TEST_LINES if "tests" in path.parts else LINES
    assert text.count("\n") <= most, f"over {most} lines: split it"
    tree = ast.parse(text)
    if "tests" not in path.parts:
        assert ast.get_docstring(tree) or not tree.body, "says not what it holds"
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            doc = (ast.get_docstring(node, clean=False) or "").count("\n")
            length = (node.end_lineno or node.lineno) - node.lineno + 1 - doc
            assert length <= FUNCTION_LINES, f"{node.name} has {length} lines: split it"


def test_no_catch_all_modules() -> None:
    assert not [path for path in modules() if path.stem in {"utils", "helpers", "misc", "common"}]


def test_every_setting_is_documented() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name, field in Settings.model_fields.items():
        assert field.description, f"setting {name} has no description"
        assert f"TALLYTARE_{name.upper()}" in readme, f"README does not list {name}"


def test_every_command_is_documented() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in COMMANDS:
        assert f"| `tallytare {command}" in readme, f"README does not list {command}"


def test_serving_loads_no_training_code() -> None:
    code = (
        "import sys, service.app, service.cli.main;"
        "bad = {'torch', 'torchvision', 'timm', 'sklearn', 'training'} & set(sys.modules);"
        "sys.exit(f'loaded {bad}' if bad else 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr


def test_top_level_is_the_agreed_one() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], capture_output=True, text=True, check=False, cwd=ROOT
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", *PACKAGES, "models"}
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {top for top in tops if not top.startswith(".")} <= allowed
