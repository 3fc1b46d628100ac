"""What somebody means who types an id, a name, or how an id begins."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar


class Named(Protocol):
    """A sort or a study."""

    @property
    def id(self) -> str:
        """Its id, in lower case."""

    @property
    def name(self) -> str:
        """What people call it; several may bear the same name."""


N = TypeVar("N", bound=Named)


def named(wanted: str, things: Sequence[N]) -> list[N]:
    """Return what bears this id, else this name, else an id that begins so; in their order."""
    lowered = wanted.strip().lower()
    if not lowered:
        return []
    for matches in (
        [each for each in things if each.id == lowered],
        [each for each in things if each.name.lower() == lowered],
        [each for each in things if each.id.startswith(lowered)],
    ):
        if matches:
            return matches
    return []
