"""The store that a command reads, and what somebody means who types an id or a name."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol, TypeVar

from classifier.errors import UnknownIdError
from classifier.log.records import SortInfo
from service.model_cache import LoadedModel
from service.services import Services
from service.settings import Settings
from service.wiring import build_services

_SHOWN = 10  # names that a message lists


class Named(Protocol):
    """A sort or a study."""

    @property
    def id(self) -> str:
        """Its id, in lower case."""

    @property
    def name(self) -> str:
        """What people call it; several may have the same name."""


N = TypeVar("N", bound=Named)


@contextmanager
def opened(settings: Settings) -> Iterator[Services]:
    """Give the services without a model, and close the log afterwards.

    Raises StorageError or DataFileError when store, categories or programmes can't be used.
    """
    services = build_services(settings, model=LoadedModel(None, None, ""))
    try:
        yield services
    finally:
        services.close()


def demo_settings(settings: Settings) -> Settings:
    """Return settings with a data folder of the demo's own, so that real sorts stay apart."""
    return settings.model_copy(update={"data_dir": settings.data_dir / "demo", "database_url": ""})


def find_sort(services: Services, wanted: str) -> SortInfo:
    """Return the one sort with this id, name, or beginning of an id.

    Raises UnknownIdError when there is none, or more than one.
    """
    demo = demo_settings(services.settings).data_dir
    hint = f"; that of the demo is {demo}" if demo.is_dir() else ""
    return the_one(
        "sort",
        wanted,
        services.log.list_sorts(),
        tell_apart=lambda sort: str(sort.sorted_on),
        none=f"in {services.log.place}",
        advice=f", or set TALLYTARE_DATA_DIR to the folder of another store{hint}",
    )


def the_one(
    what: str,
    wanted: str,
    things: Sequence[N],
    *,
    tell_apart: Callable[[N], str],
    none: str,
    advice: str = "",
) -> N:
    """Return the one thing with this id, else this name, else an id that begins so.

    `tell_apart` says something of each of several; `none` and `advice` go into the message where
    there is none.

    Raises UnknownIdError when there is none, or more than one.
    """
    matches = _matches(wanted.strip().lower(), things)
    if len(matches) == 1:
        return matches[0]
    if matches:
        listed = "; ".join(f"{each.id} ({tell_apart(each)})" for each in matches)
        raise UnknownIdError(
            f"{len(matches)} have the name {wanted!r}: {listed}; give the id of one {what}",
            **{what: wanted},
        )
    listed = "; ".join(f"{each.name} ({each.id})" for each in things[:_SHOWN]) or "none yet"
    raise UnknownIdError(
        f"there is no {what} {wanted!r} {none}; recorded there: {listed}; give the name or id of "
        f"one{advice}",
        **{what: wanted},
    )


def _matches(wanted: str, things: Sequence[N]) -> list[N]:
    """Return what has this id, else this name, else an id that begins so; in their order."""
    if not wanted:
        return []
    for matches in (
        [each for each in things if each.id == wanted],
        [each for each in things if each.name.lower() == wanted],
        [each for each in things if each.id.startswith(wanted)],
    ):
        if matches:
            return matches
    return []
