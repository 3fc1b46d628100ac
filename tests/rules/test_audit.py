"""The dependencies of the service: fixed, permitted, looked at, and as pyproject.toml asks."""

from __future__ import annotations

import tomllib

import pytest
from packaging.requirements import Requirement

from tests import audit
from tests.audit import FIXED, Package


def test_nothing_is_wrong_with_what_is_installed() -> None:
    found = audit.packages()
    assert {"fastapi", "starlette", "pillow", "sqlalchemy", "h11"} <= {each.name for each in found}
    assert audit.faults(found) == []


def test_no_installation_gets_an_older_release() -> None:
    """What we ask for directly starts at the release that fixed the hole."""
    text = (audit.ROOT / "pyproject.toml").read_text(encoding="utf-8")
    asked = [Requirement(each) for each in tomllib.loads(text)["project"]["dependencies"]]
    for each in asked:
        fixed, hole = FIXED.get(each.name, ("0", ""))
        for version in ("0.0.1", "1.0", "3.1.5", "10.3.0", "11.2.1", "0.49.0", "0.15.0"):
            if audit.Version(version) < audit.Version(fixed):
                assert version not in each.specifier, f"{each} lets {version} in: {hole}"
    assert {each.name for each in asked} >= {"starlette", "h11"}, "ask for these by name"


@pytest.mark.parametrize(
    ("package", "said"),
    [
        (Package("jinja2", "3.1.5", "BSD License"), "CVE-2025-27516"),
        (Package("leftpad", "1.0", "MIT"), "new here"),
        (Package("alembic", "1.20", "GPL-3.0-only"), "licence"),
        (Package("alembic", "1.20", ""), "licence"),
    ],
)
def test_what_the_audit_finds(package: Package, said: str) -> None:
    (fault,) = audit.faults((package,))
    assert said in fault


@pytest.mark.slow
def test_advisories_are_looked_up_where_their_service_answers() -> None:
    """Offline it says so instead of calling the packages clean."""
    answered, holes = audit.look_up(audit.packages())
    assert holes == []
    if not answered:
        pytest.skip("the advisory service of pip-audit does not answer: nothing was looked up")
