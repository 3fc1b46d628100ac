"""How sorts look in requests and answers."""

from __future__ import annotations

from pydantic import Field, StrictBool

from service.web.wire import Day, Days, Id, Line, Name, Note, Persons, Request, Sorter


class NewSort(Request):
    """A sort to be started."""

    sort_id: Id
    name: Name
    place: Line = ""
    stratum: Line = ""
    sorted_on: Day
    days: Days
    persons: Persons
    programme_id: str
    sorters: list[Sorter] = Field(default_factory=list, max_length=50)
    keeps_photos: StrictBool = False
    study_id: Id | None = None


class SortCorrection(Request):
    """Details of a sort as they should have been; what is left out or null stays as it is.

    The programme can only change while no item is recorded.
    """

    correction_id: Id
    name: Name | None = None
    place: Line | None = None
    stratum: Line | None = None
    sorted_on: Day | None = None
    days: Days | None = None
    persons: Persons | None = None
    programme_id: str | None = None
    reason: Note = ""


class SortStep(Request):
    """Closing or reopening; the id makes a resend harmless."""

    event_id: Id
