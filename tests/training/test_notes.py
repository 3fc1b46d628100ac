"""What a run tells on the way: once, and with little noise in a log."""

from __future__ import annotations

import itertools

import pytest

import training.pictures.notes
from training.pictures.notes import bar, tell


def test_only_the_first_of_several_processes_tells(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(training.pictures.notes, "_PATIENCE_S", 0.0)
    for rank, stated in (("0", True), ("1", False)):
        monkeypatch.setenv("RANK", rank)
        tell("said\n")
        assert list(bar(range(3), 3, "counting")) == [0, 1, 2]
        err = capsys.readouterr().err
        assert ("said" in err, "counting" in err) == (stated, stated)


def test_a_log_holds_few_states_of_a_bar(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(training.pictures.notes, "_PATIENCE_S", 0.0)
    clock = itertools.count(0, 0.02)  # a fiftieth of a second each time it is read
    monkeypatch.setattr("tqdm.std.time", lambda: next(clock))
    for _ in bar(range(300), 300, "counting"):
        pass
    assert capsys.readouterr().err.count("counting") <= 3
