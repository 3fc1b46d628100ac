"""How programmes, categories and facts look in an answer."""

from __future__ import annotations

from datetime import date

from pydantic import BaseModel

from classifier.rules.programme import Programme
from service.guide.usecases import Guide, GuideLine
from service.web.wire import Answer, RouteOut


class ProgrammeOut(Answer):
    """A programme that a sort can be started under."""

    id: str
    name: str
    area: str
    version: str
    valid_from: date
    valid_to: date | None
    statement: str

    @classmethod
    def of(cls, programme: Programme) -> ProgrammeOut:
        """Build from the use case's view."""
        return cls.model_validate(programme)


class LookAlikeOut(Answer):
    """Another category that is easily taken for this one, and how to tell."""

    category: str
    tell: str


class CategoryOut(BaseModel):
    """A category of the list, under a programme with every route it can take."""

    id: str
    group: str
    name: str
    belongs: list[str]
    not_here: list[str]
    look_alikes: list[LookAlikeOut]
    cautions: list[str]
    handling: list[str]
    stop: bool
    routes: list[RouteOut]

    @classmethod
    def of(cls, line: GuideLine) -> CategoryOut:
        """Build from the use case's view."""
        category = line.category
        return cls(
            id=category.id,
            group=category.group,
            name=category.name,
            belongs=list(category.belongs),
            not_here=list(category.not_here),
            look_alikes=[LookAlikeOut.model_validate(each) for each in category.look_alikes],
            cautions=[caution.text for caution in line.cautions],
            handling=[caution.text for caution in line.handling],
            stop=category.stop,
            routes=[RouteOut.model_validate(each) for each in line.routes],
        )


class AnswerOut(Answer):
    """One possible answer to a question."""

    id: str
    label: str


class FactOut(Answer):
    """Something a photo can't show, and how to find out."""

    id: str
    name: str
    question: str
    how: str
    answers: list[AnswerOut]


class GroupOut(Answer):
    """The upper level of the list."""

    id: str
    name: str


class CategoriesOut(BaseModel):
    """The list of categories with the facts that rules ask for."""

    version: str
    programme: ProgrammeOut | None
    groups: list[GroupOut]
    categories: list[CategoryOut]
    facts: list[FactOut]

    @classmethod
    def of(cls, guide: Guide) -> CategoriesOut:
        """Build from the use case's view."""
        return cls(
            version=guide.version,
            programme=None if guide.programme is None else ProgrammeOut.of(guide.programme),
            groups=[GroupOut.model_validate(group) for group in guide.groups],
            categories=[CategoryOut.of(line) for line in guide.lines],
            facts=[FactOut.model_validate(fact) for fact in guide.facts],
        )
