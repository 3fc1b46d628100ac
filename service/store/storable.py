"""Texts that one of the engines can't hold are refused before any of them sees a statement.

PostgreSQL takes no NUL in a text, SQLite does; neither takes half of a surrogate pair. Both have to
answer alike, or a store could hold what can't be moved.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Engine, event

from classifier.domain.errors import InvalidEntryError

_OPTION = "tallytare_as_it_is"
AS_IT_IS = {_OPTION: True}
"""Options of a statement that copies what a store has kept already."""


def is_storable(text: str) -> bool:
    """Tell whether both engines can hold a text."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return "\0" not in text


def refuse_unstorable(engine: Engine) -> None:
    """Let an engine raise InvalidEntryError for a statement with such a text among its values.

    Statements with the options `AS_IT_IS` are let through.
    """

    @event.listens_for(engine, "before_cursor_execute")
    def _on_execute(
        _connection: Any, _cursor: Any, _statement: str, given: Any, context: Any, many: bool
    ) -> None:
        if context is not None and context.execution_options.get(_OPTION):
            return
        for row in given if many else (given,):
            _check(row.values() if isinstance(row, dict) else row)


def _check(values: Iterable[Any]) -> None:
    for value in values:
        if isinstance(value, str) and not is_storable(value):
            raise InvalidEntryError(
                f"the text {value[:40]!r} holds a character that can't be kept (NUL, or half of a "
                "pair): take it out and send it again; nothing was recorded"
            )
