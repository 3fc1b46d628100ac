"""Forms that keep what was typed when something in them is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Annotated

from fastapi import Depends
from starlette.requests import Request

from classifier.errors import InvalidQuantityError


async def _typed(request: Request) -> dict[str, str]:
    form = await request.form()
    return {name: value for name, value in form.items() if isinstance(value, str)}


Typed = Annotated[dict[str, str], Depends(_typed)]
"""The fields of a posted form as typed; files among them are left out."""


@dataclass(frozen=True, slots=True)
class FormState:
    """What a form shows: the values in it, and what was wrong with it."""

    values: Mapping[str, str]
    message: str = ""
    wrong: frozenset[str] = field(default_factory=frozenset)

    def value(self, name: str) -> str:
        """Return a field's value, empty if it has none."""
        return self.values.get(name, "")

    def is_wrong(self, name: str) -> bool:
        """Whether the field is to be marked."""
        return name in self.wrong


_FIELD_WORDS = {
    "days": "days",
    "persons": "persons",
    "gross": "gross",
    "tare": "tare",
    "resolution": "resolution",
    "capacity": "capacity",
    "weight": "weight",
    "name": "name",
    "reason": "reason",
    "date": "sorted_on",
    "count": "count",
    "no pile": "pile",
}


def guilty_fields(message: str, fields: Mapping[str, str]) -> frozenset[str]:
    """Return the fields that a message names; messages begin with what was wrong."""
    start = message.lower().split(":")[0]
    found = {name for word, name in _FIELD_WORDS.items() if word in start and name in fields}
    if "resolution" in found and "scale resolution" in start:
        found = {"resolution"}
    if not found and start.startswith("weight "):  # which of the readings, only its value tells
        readings = (name for name in ("gross", "tare") if fields.get(name))
        found = {name for name in readings if fields[name].strip() in start}
    return frozenset(found)


def refused(values: Mapping[str, str], message: str) -> FormState:
    """Return the form as it was typed, with the message and the fields it concerns."""
    shown = message[:1].upper() + message[1:]
    return FormState(values, shown, guilty_fields(message, values))


def parse_day(text: str) -> date:
    """Return the date that a form holds.

    Raises InvalidQuantityError when it is none.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InvalidQuantityError(
            f"date {text!r} is no date: write year-month-day, such as 2026-05-31", given=text
        ) from None


def names(text: str) -> tuple[str, ...]:
    """Return names typed with commas or line breaks between them."""
    parts = (part.strip() for line in text.splitlines() for part in line.split(","))
    return tuple(part for part in parts if part)
