"""What README, DEVELOPERS, CI and the hook before a commit run is one and the same."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.__main__ import steps

ROOT = Path(__file__).resolve().parents[2]


def test_ci_runs_the_test_command_of_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    (command,) = [line for line in readme.splitlines() if line.endswith("-m tests")]
    lines = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert lines[-1] == command
    assert "-c .ci/constraints.txt" in command
    assert (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").count(command) == 1


def test_the_hook_runs_steps_of_the_same_command() -> None:
    text = (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    assert re.findall(r"repo: (.+)", text) == ["local"]
    entries = re.findall(r"entry: (.+)", text)
    assert entries
    for entry in entries:
        head, _, names = entry.partition("python -m tests ")
        assert head == ""
        assert {*names.split()} <= {*steps()}


def test_every_package_that_is_asked_for_has_a_version_that_passed() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    passed = [Requirement(line) for line in lines if not line.startswith("#")]
    known = {canonicalize_name(each.name) for each in passed}
    asked = [
        Requirement(text)
        for texts in (project["dependencies"], *project["optional-dependencies"].values())
        for text in texts
    ]
    wanted = {canonicalize_name(each.name) for each in asked if not each.marker}
    assert wanted - {"tallytare"} <= known
    versions = {canonicalize_name(each.name): each.specifier for each in passed}
    for each in asked:
        if canonicalize_name(each.name) in versions:
            (one,) = versions[canonicalize_name(each.name)]
            assert one.version in each.specifier, f"{each} refuses {one.version}"
