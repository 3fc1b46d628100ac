"""What single values on the wire may be, as the description of the interface tells it.

The use cases check texts, numbers and ids, since their messages say what to do instead; these types
only tell other programs beforehand.
"""

from __future__ import annotations

import re
from datetime import date
from operator import attrgetter
from typing import Annotated, Any, ClassVar

from pydantic import (
    AliasChoices,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StrictInt,
    model_validator,
)

from classifier.log.quantities import MAX_COUNT, MAX_DAYS, MAX_LOADS, MAX_PERSONS, Unit
from service.entries import NAME_LENGTH, NOTE_LENGTH, SORTER_LENGTH

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")

_UNSHOWN = r"\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f"

_BLANK = r"\s\u00ad\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff\ue000-\uf8ff"

_NUMBER = r"^[0-9]{1,4}([.][0-9]{1,3})?$"


class Answer(BaseModel):
    """Base of answers that are read off a record, and off the records in it named in `within`."""

    model_config = ConfigDict(from_attributes=True)
    within: ClassVar[tuple[str, ...]] = ()

    @model_validator(mode="before")
    @classmethod
    def _as_one(cls, given: Any) -> Any:
        if not cls.within or isinstance(given, (dict, cls)):
            return given
        return Parts(given, *(attrgetter(name)(given) for name in cls.within))


class Parts:
    """Several records as one: the first that has an attribute gives it, None all those left."""

    def __init__(self, *parts: object) -> None:
        self._parts = parts

    def __getattr__(self, name: str) -> Any:
        """Return the attribute of the first part that has it."""
        for part in self._parts:
            if part is None:
                return None
            if hasattr(part, name):
                return getattr(part, name)
        raise AttributeError(name)


class Request(BaseModel):
    """Base of requests: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _written_day(value: object) -> object:
    """Refuse numbers: pydantic would take them for seconds since 1970."""
    if isinstance(value, str) and _DAY.fullmatch(value):
        return value
    raise ValueError("write year-month-day, such as 2026-05-31")


def _whole(value: object) -> object:
    """Take 7.0 for 7: in JSON they are the same number."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _text(longest: int, *, needed: bool = False) -> Any:
    shown = f"[^{_UNSHOWN}]*"
    if not needed:
        return Field(json_schema_extra={"maxLength": longest, "pattern": f"^{shown}$"})
    pattern = f"^{shown}[^{_UNSHOWN}{_BLANK}]{shown}$"
    return Field(json_schema_extra={"minLength": 1, "maxLength": longest, "pattern": pattern})


def _whole_number(least: int, most: int) -> Any:
    return Field(json_schema_extra={"minimum": least, "maximum": most})


Id = Annotated[str, Field(json_schema_extra={"format": "uuid"})]

Day = Annotated[date, BeforeValidator(_written_day)]

Whole = Annotated[StrictInt, BeforeValidator(_whole)]

Count = Annotated[Whole, _whole_number(1, MAX_COUNT)]

Days = Annotated[Whole, _whole_number(1, MAX_DAYS)]

Load = Annotated[Whole, _whole_number(1, MAX_LOADS)]

Persons = Annotated[Whole, _whole_number(1, MAX_PERSONS)]

Name = Annotated[str, _text(NAME_LENGTH, needed=True)]
"""A text of one line that must show something."""

Line = Annotated[str, _text(NAME_LENGTH)]

Note = Annotated[str, _text(NOTE_LENGTH)]

Reason = Annotated[str, _text(NOTE_LENGTH, needed=True)]

Sorter = Annotated[str, _text(SORTER_LENGTH)]

Number = Annotated[str, Field(json_schema_extra={"pattern": _NUMBER, "examples": ["1.25"]})]
"""Digits as a scale shows them; a decimal comma and spaces between thousands are taken too."""

UnitName = Annotated[str, Field(json_schema_extra={"enum": [unit.value for unit in Unit]})]


class RouteOut(Answer):
    """A route with its condition; `when` names the open facts on which it hangs, if any."""

    id: str = Field(validation_alias=AliasChoices("route", "id"))
    name: str
    condition: str
    note: str
    when: str


class ErrorDetail(BaseModel):
    """What went wrong: a code for programs, a sentence for people, the values concerned."""

    code: str
    message: str
    details: dict[str, Any]


class ErrorOut(BaseModel):
    """Every answer that is no success."""

    error: ErrorDetail


class HealthOut(BaseModel):
    """Whether everything that the service needs is there."""

    ok: bool
    store: bool
    model: str | None
    problems: list[str]
