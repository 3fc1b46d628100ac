"""How studies look in requests and answers."""

from __future__ import annotations

from datetime import datetime

from classifier.log.records import SortInfo
from service.web.wire import Answer, Id, Name, Request


class NewStudy(Request):
    """A study to be started."""

    study_id: Id
    name: Name


class SortStudy(Request):
    """The study that a sort is put into; null takes it out of any."""

    change_id: Id
    study_id: Id | None


class StudyOut(Answer):
    """A study with its sorts, the oldest first."""

    within = ("study",)
    id: str
    name: str
    created_at: datetime
    sorts: list[SortInfo]
