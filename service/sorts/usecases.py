"""Start, correct, close, reopen and find sorts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Literal

from classifier.log.quantities import Mass, check_days, check_persons, sum_masses
from classifier.log.records import SortInfo
from service.entries import NAME_LENGTH, NOTE_LENGTH, check_id, check_sorters, check_text
from service.services import Services
from service.sorts.studies import place_new_sort
from service.store.rows import said


def create_sort(
    services: Services,
    *,
    sort_id: str,
    name: str,
    place: str = "",
    stratum: str = "",
    sorted_on: date,
    days: int | str,
    persons: int | str,
    programme_id: str,
    sorters: Sequence[str] = (),
    keeps_photos: bool = False,
    study_id: str | None = None,
) -> SortInfo:
    """Start a sort, in a study if one is named; a resend returns the first.

    Raises InvalidEntryError, InvalidQuantityError, UnknownIdError (programme, study),
    ConflictError.
    """
    programme = services.programme(programme_id)
    if study_id is not None:
        services.log.study(check_id(study_id, "study_id"))
    sort = SortInfo(
        id=check_id(sort_id, "sort_id"),
        name=_check_name(name),
        place=check_text(place, "place", longest=NAME_LENGTH),
        stratum=check_text(stratum, "stratum", longest=NAME_LENGTH),
        sorted_on=sorted_on,
        days=check_days(days),
        persons=check_persons(persons),
        programme_id=programme.id,
        sorters=check_sorters(sorters),
        keeps_photos=keeps_photos,
        created_at=services.clock(),
        closed=False,
    )
    recorded = services.log.add_sort(
        sort, programme_version=programme.version, sent=said(sort, "created_at", "closed")
    )
    place_new_sort(services, recorded, study_id)
    return recorded


def correct_sort(
    services: Services,
    *,
    sort_id: str,
    correction_id: str,
    name: str | None = None,
    place: str | None = None,
    stratum: str | None = None,
    sorted_on: date | None = None,
    days: int | str | None = None,
    persons: int | str | None = None,
    programme_id: str | None = None,
    reason: str = "",
) -> SortInfo:
    """Correct details of an open sort, those that are given; a resend changes nothing.

    What they were stays in the log, and the report lists it. Two who correct different details at
    the same time do not undo one another.

    Raises InvalidEntryError, InvalidQuantityError, UnknownIdError, ClosedSortError; ConflictError
    when the id already belongs to another correction, or for another programme once items are
    recorded.
    """
    changed: Mapping[str, object | None] = {
        "name": None if name is None else _check_name(name),
        "place": None if place is None else check_text(place, "place", longest=NAME_LENGTH),
        "stratum": None if stratum is None else check_text(stratum, "stratum", longest=NAME_LENGTH),
        "sorted_on": sorted_on,
        "days": None if days is None else check_days(days),
        "persons": None if persons is None else check_persons(persons),
        "programme_id": None if programme_id is None else services.programme(programme_id).id,
    }
    given = {field: value for field, value in changed.items() if value is not None}
    own = check_id(correction_id, "correction_id")
    why = check_text(reason, "reason", longest=NOTE_LENGTH)
    return services.log.add_sort_correction(
        own,
        sort_id.lower(),
        given,
        reason=why,
        at=services.clock(),
        sent={"sort_id": sort_id.lower(), **given, "reason": why},
    )


def close_sort(services: Services, sort_id: str, *, event_id: str) -> SortInfo:
    """Close a sort: nothing can be added until it is reopened.

    Raises UnknownIdError, ConflictError when it is closed already.
    """
    return _step(services, sort_id, event_id, "close")


def reopen_sort(services: Services, sort_id: str, *, event_id: str) -> SortInfo:
    """Open a closed sort again.

    Raises UnknownIdError, ConflictError when it is open already.
    """
    return _step(services, sort_id, event_id, "reopen")


def masses_weighed(services: Services, sorts: Sequence[SortInfo]) -> dict[str, Mass | None]:
    """Return what was weighed in each of the sorts, by id; None where nothing was."""
    found: dict[str, Mass | None] = {}
    for rows in services.log.scale_rows(sorts):
        masses = [batch.mass for batch in rows.ledger().batches if batch.mass is not None]
        found[rows.sort.id] = sum_masses(masses) if masses else None
    return found


def _check_name(given: str) -> str:
    return check_text(given, "name", longest=NAME_LENGTH, needed=True)


def _step(
    services: Services, sort_id: str, event_id: str, kind: Literal["close", "reopen"]
) -> SortInfo:
    own = check_id(event_id, "event_id")
    return services.log.add_sort_event(sort_id.lower(), own, kind, services.clock())
