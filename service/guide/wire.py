"""How programmes, categories and facts look in an answer."""

from __future__ import annotations

from datetime import date
from operator import attrgetter
from typing import Annotated

from pydantic import AliasPath, BeforeValidator, Field

from classifier.rules import category_parts
from classifier.rules.category_parts import Group, LookAlike
from service.web.wire import Answer, RouteOut

Words = Annotated[str, BeforeValidator(attrgetter("text"))]
"""What a caution says."""


class ProgrammeOut(Answer):
    """A programme that a sort can be started under."""

    id: str
    name: str
    area: str
    version: str
    valid_from: date
    valid_to: date | None
    statement: str


class CategoryOut(Answer):
    """A category of the list, under a programme with every route it can take."""

    within = ("category",)
    id: str
    group: str = Field(validation_alias=AliasPath("category", "group"))
    name: str
    belongs: list[str]
    not_here: list[str]
    look_alikes: list[LookAlike]
    cautions: list[Words]
    handling: list[Words]
    stop: bool
    routes: list[RouteOut]


class FactOut(Answer):
    """Something a photo can't show, and how to find out."""

    id: str
    name: str
    question: str
    how: str
    answers: list[category_parts.Answer]


class CategoriesOut(Answer):
    """The list of categories with the facts that rules ask for."""

    version: str
    programme: ProgrammeOut | None
    groups: list[Group]
    categories: list[CategoryOut] = Field(validation_alias="lines")
    facts: list[FactOut]
