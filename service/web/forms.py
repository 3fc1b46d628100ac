"""Forms that keep what was typed when something in them is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Annotated
from urllib.parse import parse_qsl

from anyio import to_thread
from fastapi import Depends
from starlette.requests import Request

from classifier.errors import InvalidEntryError, InvalidQuantityError, TallytareError
from service.web.errors import problem_of

MOST_FIELDS = 20_000
"""An import asks for two fields a label."""


async def _typed(request: Request) -> dict[str, str]:
    # A megabyte of fields takes a while to read, during which others want answers.
    if request.headers.get("content-type", "").lower().startswith("multipart/"):
        # No page of ours sends a form without files so, but programs may.
        parts = await request.form(max_files=0, max_fields=MOST_FIELDS)
        return {name: value for name, value in parts.items() if isinstance(value, str)}
    return await to_thread.run_sync(_fields, await request.body())


def _fields(body: bytes) -> dict[str, str]:
    """Read a form as browsers write it (application/x-www-form-urlencoded)."""
    try:
        return dict(
            parse_qsl(body.decode("latin-1"), keep_blank_values=True, max_num_fields=MOST_FIELDS)
        )
    except ValueError as error:
        raise InvalidEntryError(
            f"the form has more than {MOST_FIELDS:,} fields: send less at once"
        ) from error


Typed = Annotated[dict[str, str], Depends(_typed)]
"""The fields of a posted form as typed, of forms that take no file."""


@dataclass(frozen=True, slots=True)
class FormState:
    """What a form shows: the values in it, and what was wrong with it.

    `status` is that of the page that shows it.
    """

    values: Mapping[str, str]
    message: str = ""
    wrong: frozenset[str] = field(default_factory=frozenset)
    status: int = 200

    def value(self, name: str) -> str:
        """Return a field's value, empty if it has none."""
        return self.values.get(name, "")

    def is_wrong(self, name: str) -> bool:
        """Whether the field is to be marked."""
        return name in self.wrong


def refused(values: Mapping[str, str], error: TallytareError) -> FormState:
    """Return the form as it was typed, with the message and the fields that the error is about."""
    shown = error.message[:1].upper() + error.message[1:]
    wrong = frozenset(error.fields).intersection(values)
    return FormState(values, shown, wrong, problem_of(error).status)


def parse_day(text: str) -> date:
    """Return the date that a form holds.

    Raises InvalidQuantityError when it is none.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InvalidQuantityError(
            f"date {text!r} is no date: write year-month-day, such as 2026-05-31",
            field="sorted_on",
            given=text,
        ) from None


def names(text: str) -> tuple[str, ...]:
    """Return names typed with commas or line breaks between them."""
    parts = (part.strip() for line in text.splitlines() for part in line.split(","))
    return tuple(part for part in parts if part)
