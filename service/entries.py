"""Checks of what a client typed or made, before it goes any further."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from classifier.errors import InvalidEntryError

NAME_LENGTH = 120
NOTE_LENGTH = 1000
SORTER_LENGTH = 80
MAX_SORTERS = 50


def check_id(given: str, what: str) -> str:
    """Return a client-made id in its plain form.

    Raises InvalidEntryError unless it is a UUID.
    """
    try:
        # UUID() also takes braces and urn:uuid:, which would give one thing two ids.
        plain = str(UUID(given)) if len(given) == 36 else ""
    except ValueError:
        plain = ""
    if not plain or plain != given.lower():
        raise InvalidEntryError(
            f"{what} {given[:60]!r} is no UUID: send one such as "
            "7f0c2d0e-2f7b-4c58-9a51-0d6f6f9b7c11, made for each entry",
            field=what,
            what=what,
        )
    return plain


def check_text(given: str, what: str, *, longest: int, needed: bool = False) -> str:
    """Return a text without spaces around it.

    Raises InvalidEntryError when it is too long, holds control characters, or is empty (or
    of invisible characters only) but needed.
    """
    text = given.strip()
    if needed and not text:
        raise InvalidEntryError(
            f"{what} is empty: write something, up to {longest} characters", field=what
        )
    if len(text) > longest:
        raise InvalidEntryError(
            f"{what} has {len(text)} characters: shorten it to {longest}",
            field=what,
            what=what,
            length=len(text),
            longest=longest,
        )
    if any(_is_control(character) for character in text):
        raise InvalidEntryError(
            f"{what} holds characters that can't be shown: type it again", field=what
        )
    if needed and not any(character.isprintable() for character in text):
        raise InvalidEntryError(
            f"{what} shows nothing: write something that can be read", field=what
        )
    return text


def _is_control(character: str) -> bool:
    """Tell whether a terminal could obey it (C0, C1), or UTF-8 can't hold it (lone surrogates)."""
    code = ord(character)
    return (
        (code < 32 and character not in "\n\r\t")
        or 0x7F <= code <= 0x9F
        or 0xD800 <= code <= 0xDFFF
    )


def check_sorter(given: str) -> str:
    """Return a sorter's name, which may be empty.

    Raises InvalidEntryError as `check_text` does.
    """
    return check_text(given, "sorter", longest=SORTER_LENGTH)


def check_sorters(given: Iterable[str]) -> tuple[str, ...]:
    """Return the names of the sorters, each once, without empty ones.

    Raises InvalidEntryError when there are too many or one is too long.
    """
    names = [check_sorter(name) for name in given]
    distinct = tuple(dict.fromkeys(name for name in names if name))
    if len(distinct) > MAX_SORTERS:
        raise InvalidEntryError(
            f"{len(distinct)} sorters are too many: give at most {MAX_SORTERS}",
            field="sorters",
            given=len(distinct),
        )
    return distinct
