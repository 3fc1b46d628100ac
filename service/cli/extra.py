"""Commands that another installed part brings: training, which needs an extra.

Serving must run without torch, and `service` never imports `training`; so the commands are looked
up by name among the entry points of the installation, and only when one is called.
"""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable, Sequence

from classifier.errors import TallytareError

GROUP = "tallytare.commands"
EXTRA = "train"


class MissingExtraError(TallytareError):
    """A command whose packages are not installed."""

    code = "missing_extra"


def run_extra(name: str, arguments: Sequence[str]) -> int:
    """Run the command `name` with its own arguments and return its exit code.

    Raises MissingExtraError when the command or a package that it needs isn't installed.
    """
    try:
        command = _load(name)
        return command(list(arguments))
    except ModuleNotFoundError as error:
        raise MissingExtraError(
            f"'{name}' needs the package {error.name}, which isn't installed; install the extra "
            f"with: pip install 'tallytare[{EXTRA}]'",
            command=name,
            package=error.name,
        ) from error


def _load(name: str) -> Callable[[list[str]], int]:
    for entry in importlib.metadata.entry_points(group=GROUP, name=name):
        command: Callable[[list[str]], int] = entry.load()
        return command
    raise MissingExtraError(
        f"'{name}' isn't part of this installation; install it with: "
        f"pip install 'tallytare[{EXTRA}]'",
        command=name,
    )
