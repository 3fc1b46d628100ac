"""A real server as `tallytare serve` starts it, but for a quick model and a clock that can step.

The harness starts `python -m tests.crash.server DATA_DIR CLOCK_FILE [DATABASE_URL]` and writes a
port a line to it. For each it forks a server, a process of its own with its own connections, and
answers with its number: what is spared is only loading the libraries two hundred times.
"""

from __future__ import annotations

import os
import signal
import sys
import traceback
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NoReturn

from service.cli.serve import run_server
from service.model_cache import LoadedModel
from service.settings import Settings
from service.wiring import build_services
from tests.fakes import FakePredictor, model_record


class SteppingClock:
    """The time of this machine plus the seconds that stand in a file at that moment."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def __call__(self) -> datetime:
        """Return the time."""
        try:
            seconds = float(self._file.read_text(encoding="ascii"))
        except (OSError, ValueError):  # just being rewritten
            seconds = 0.0
        return datetime.now(UTC) + timedelta(seconds=seconds)


def serve(data_dir: str, clock: str, database_url: str, port: int) -> None:
    """Serve until killed."""
    settings = Settings(
        data_dir=Path(data_dir), port=port, database_url=database_url, busy_timeout_s=5.0
    )
    model = LoadedModel(FakePredictor(), model_record(), "")
    services = build_services(settings, model=model)
    run_server(settings, services=replace(services, clock=SteppingClock(Path(clock))))


def main() -> None:
    """Fork a server for each port that is asked for, until the harness is gone."""
    data_dir, clock, *database = sys.argv[1:]
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the system takes the dead away
    # Unbuffered: a child must not find requests that are its parent's.
    while line := _line():
        child = os.fork()
        if child == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
            os.dup2(2, 1)
            _child(data_dir, clock, "".join(database), int(line))
        os.write(1, f"{child}\n".encode("ascii"))


def _child(data_dir: str, clock: str, database_url: str, port: int) -> NoReturn:
    """Serve; end without the clean-up of libraries, whose threads stayed in the parent."""
    try:
        serve(data_dir, clock, database_url, port)
    except BaseException:
        with suppress(OSError):  # standard error may be on the full disk
            traceback.print_exc()
    finally:
        os._exit(1)


def _line() -> bytes:
    line = b""
    while piece := os.read(0, 1):
        if piece == b"\n":
            break
        line += piece
    return line


if __name__ == "__main__":
    main()
