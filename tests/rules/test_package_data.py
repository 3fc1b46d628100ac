"""What the wheel must carry beside code: a file that no pattern names is missing only there."""

from __future__ import annotations

import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
# Read by people in the checkout, never by the program.
NOT_CARRIED = {"demo_images/README.md"}


def test_every_data_file_of_a_package_travels_in_the_wheel() -> None:
    listed = subprocess.run(
        ["git", "ls-files"], capture_output=True, text=True, check=False, cwd=ROOT
    )
    if listed.returncode:
        pytest.skip("not a git checkout")
    options = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    tool = options["tool"]["setuptools"]
    carried = NOT_CARRIED | set(options["project"]["license-files"])
    for package, patterns in tool["package-data"].items():
        folder = ROOT / tool["package-dir"].get(package, package.replace(".", "/"))
        for pattern in patterns:
            found = {path.relative_to(ROOT).as_posix() for path in folder.glob(pattern)}
            assert found, f"{package}: {pattern} names no file"
            carried |= found
    tops = {"classifier", "service", "training", "models", "demo_images"}
    data = {
        name
        for name in listed.stdout.splitlines()
        if name.split("/")[0] in tops and not name.endswith(".py")
    }
    assert data - carried == set(), "add them to [tool.setuptools.package-data]"


def test_the_licence_is_named_and_its_text_travels_with_the_code() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["license"] == "Apache-2.0"
    (file,) = project["license-files"]
    text = (ROOT / file).read_text(encoding="utf-8")
    assert text.split()[:5] == ["Apache", "License", "Version", "2.0,", "January"]
    assert "END OF TERMS AND CONDITIONS" in text


def test_every_package_with_code_travels_in_the_wheel() -> None:
    options = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    tool = options["tool"]["setuptools"]
    named = {tool["package-dir"].get(name, name.replace(".", "/")) for name in tool["packages"]}
    code = {
        path.parent.relative_to(ROOT).as_posix()
        for top in ("classifier", "service", "training")
        for path in (ROOT / top).rglob("*.py")
    }
    assert code <= named, "add them to [tool.setuptools] packages"
