"""The table of oracles (`python -m tests.oracles`): every line within its tolerance."""

from __future__ import annotations

import pytest

from tests.oracles import Oracle, main, oracles

EVERY = list(oracles())


@pytest.mark.parametrize(
    "oracle", EVERY, ids=lambda each: f"{each.code}: {each.source}, {each.what}"
)
def test_ours_is_what_was_published(oracle: Oracle) -> None:
    assert oracle.agrees, f"published {oracle.published}, ours {oracle.ours}"


def test_every_line_has_a_known_code() -> None:
    assert {each.code for each in EVERY} <= {"A", "B", "C", "D", "OWN", "run here"}


def test_the_command_prints_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert main() == 0
    printed = capsys.readouterr().out
    assert printed.count("\n| ") >= len(EVERY)
    assert "0 differ" in printed
