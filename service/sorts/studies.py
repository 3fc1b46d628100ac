"""Studies: sorts that belong together."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from classifier.log.records import SortInfo
from service.entries import NAME_LENGTH, check_id, check_text
from service.services import Services
from service.store.rows import Study, said

_AT_START = uuid.UUID("b6b1a0a4-0d0e-4a3c-9c55-5d1a3c0f7d11")
"""Names the change that puts a new sort into its study, so that a resend of the sort finds it."""


@dataclass(frozen=True, slots=True)
class StudyLine:
    """A study with its sorts, the oldest first."""

    study: Study
    sorts: tuple[SortInfo, ...]


def create_study(services: Services, *, study_id: str, name: str) -> Study:
    """Start a study; a resend returns the first.

    Raises InvalidEntryError; ConflictError when the id already belongs to another study.
    """
    study = Study(
        id=check_id(study_id, "study_id"),
        name=check_text(name, "name", longest=NAME_LENGTH, needed=True),
        created_at=services.clock(),
    )
    return services.log.add_study(study, sent=said(study, "created_at"))


def list_studies(services: Services) -> tuple[StudyLine, ...]:
    """Return all studies, the newest first, each with its sorts."""
    return tuple(
        StudyLine(study, services.log.sorts_of_study(study.id)) for study in services.log.studies()
    )


def get_study(services: Services, study_id: str) -> StudyLine:
    """Return a study with its sorts, the oldest first.

    Raises UnknownIdError when there is none.
    """
    study = services.log.study(study_id.lower())
    return StudyLine(study, services.log.sorts_of_study(study.id))


def place_sort(
    services: Services, *, sort_id: str, study_id: str | None, change_id: str
) -> SortInfo:
    """Put a sort into a study, or with None into none; what it confirmed teaches there from now on.

    Raises UnknownIdError, InvalidEntryError; ConflictError when the id already belongs to another
    change.
    """
    sort = services.log.get_sort(sort_id.lower())
    own = check_id(change_id, "change_id")
    wanted = None if study_id is None else check_id(study_id, "study_id")
    services.log.place_sort(own, sort.id, wanted, services.clock())
    return sort


def place_new_sort(services: Services, sort: SortInfo, study_id: str | None) -> None:
    """Put a sort that was just started into its study; a resend changes nothing."""
    if study_id is not None:
        change_id = str(uuid.uuid5(_AT_START, sort.id))
        place_sort(services, sort_id=sort.id, study_id=study_id, change_id=change_id)
