"""`tallytare serve` in a process that a fork server makes, which has loaded everything before.

Each test has a service and a store of its own; to load Python's packages for each took most of a
test's time. On systems that can't fork a new Python is started.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
from collections.abc import Mapping
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import service.app
import service.cli.listening
import service.cli.serve  # noqa: F401
from service.cli.main import main

_METHODS = multiprocessing.get_all_start_methods()
_CONTEXT: Any = multiprocessing.get_context("forkserver" if "forkserver" in _METHODS else "spawn")


def started(settings: Mapping[str, str], log: Path) -> BaseProcess:
    """Start the service with these variables; what it says goes into the file."""
    _CONTEXT.set_forkserver_preload([__name__])
    process: BaseProcess = _CONTEXT.Process(
        target=_serve, args=(dict(settings), str(log)), daemon=True
    )
    process.start()
    return process


def _serve(settings: dict[str, str], log: str) -> None:
    os.environ.update(settings)
    file = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    for descriptor in (1, 2):
        os.dup2(file, descriptor)
    sys.argv = ["tallytare", "serve"]
    main()
