"""The command line, run in this process with a bundle of colours and a store of its own."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from service.cli import main as cli
from tests.tiny_bundle import write_tiny_bundle


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        """Standard error on one line, without the frame that is drawn around usage errors."""
        return re.sub(r"[\s│╭╮╰╯─]+", " ", self.err)


Run = Callable[..., Ran]


@pytest.fixture(scope="session")
def tiny(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the directory of a bundle that tells colours."""
    return write_tiny_bundle(tmp_path_factory.mktemp("bundle") / "tiny")


@pytest.fixture
def data_dir(tmp_path: Path) -> Path:
    """Return the data folder of the command, which doesn't exist yet."""
    return tmp_path / "data"


@pytest.fixture
def run(
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    tiny: Path,
    data_dir: Path,
) -> Run:
    """Return a function that runs `tallytare` with arguments."""
    monkeypatch.setenv("TALLYTARE_BUNDLE", str(tiny))
    monkeypatch.setenv("TALLYTARE_DATA_DIR", str(data_dir))
    monkeypatch.setenv("COLUMNS", "120")

    def command(*arguments: object) -> Ran:
        monkeypatch.setattr(sys, "argv", ["tallytare", *map(str, arguments)])
        capfd.readouterr()
        with pytest.raises(SystemExit) as ended:
            cli.main()
        code = ended.value.code or 0
        sys.stdout.flush()
        out, err = capfd.readouterr()
        assert "Traceback" not in err
        return Ran(code if isinstance(code, int) else 1, out, err)

    return command
