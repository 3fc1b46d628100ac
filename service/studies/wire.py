"""How studies look in requests and answers."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel

from service.sorts.studies import StudyLine
from service.sorts.wire import SortOut
from service.web.wire import (
    Id,
    Name,
    Request,
)


class NewStudy(Request):
    """A study to be started."""

    study_id: Id
    name: Name


class SortStudy(Request):
    """The study that a sort is put into; null takes it out of any."""

    change_id: Id
    study_id: Id | None


class StudyOut(BaseModel):
    """A study with its sorts, the oldest first."""

    id: str
    name: str
    created_at: datetime
    sorts: list[SortOut]

    @classmethod
    def of(cls, line: StudyLine) -> StudyOut:
        """Build from the use case's view."""
        return cls(
            id=line.study.id,
            name=line.study.name,
            created_at=line.study.created_at,
            sorts=[SortOut.of(sort) for sort in line.sorts],
        )
