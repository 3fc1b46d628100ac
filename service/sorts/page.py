"""The list of sorts; starting, closing and reopening one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import HTMLResponse, RedirectResponse, Response

from classifier.errors import NotLetInError, TallytareError
from classifier.log.records import SortInfo
from service.guide.pickers import programme_differences
from service.services import Services
from service.sorts import studies
from service.sorts import usecases as sorts
from service.web.dependencies import ServicesDep
from service.web.forms import FormState, Typed, names, parse_day, refused
from service.web.page_support import go_to
from service.web.render import page
from service.web.roles import Permission
from service.web.visitors import current_visitor

router = APIRouter()

NEW_STUDY = "new"

SORTS_A_SHEET = 50


@dataclass(frozen=True, slots=True)
class SortLine:
    """A sort in the list of all, with what was counted and weighed (g; None: nothing) so far."""

    sort: SortInfo
    objects: int
    weighed_g: Decimal | None


@router.get("/", response_class=HTMLResponse)
def show_sorts(
    services: ServicesDep, sheet: Annotated[int, Query(ge=1, le=1_000_000)] = 1
) -> HTMLResponse:
    """List sorts, the newest first, a sheet at a time."""
    skip = (sheet - 1) * SORTS_A_SHEET
    found = services.log.list_sorts(limit=SORTS_A_SHEET + 1, skip=skip)
    shown = found[:SORTS_A_SHEET]
    counts = services.log.objects_counted(shown)
    masses = sorts.masses_weighed(services, shown)
    return page(
        "sorts.html",
        here="sorts",
        lines=[
            SortLine(sort, counts[sort.id], None if mass is None else mass.value_g)
            for sort in shown
            for mass in (masses[sort.id],)
        ],
        programme_names={each.id: each.name for each in services.programmes.values()},
        sheet=sheet,
        more=len(found) > SORTS_A_SHEET,
    )


@router.get("/sorts", response_class=HTMLResponse)
def sorts_address() -> RedirectResponse:
    """Lead those who shorten the address to the list."""
    return go_to("/")


@router.get("/sorts/new", response_class=HTMLResponse)
def show_form(services: ServicesDep, study: str = "") -> HTMLResponse:
    """Show the form that starts a sort, in a study if the address names one."""
    today = services.clock().astimezone().date().isoformat()
    values = {"sorted_on": today, "days": "7", "persons": "1", "study": study}
    return _form(services, FormState(values))


@router.post("/sorts", response_class=HTMLResponse)
def start_sort(services: ServicesDep, typed: Typed) -> Response:
    """Start a sort and go to its sorting page; a refusal keeps what was typed."""
    try:
        sort = _create(services, typed)
    except TallytareError as error:
        return _form(services, refused(typed, error))
    return go_to(f"/sorts/{sort.id}")


@router.post("/sorts/{sort_id}/close")
def close_sort(services: ServicesDep, typed: Typed, sort_id: str) -> RedirectResponse:
    """Close a sort."""
    sorts.close_sort(services, sort_id, event_id=typed.get("event_id", ""))
    return go_to("/")


@router.post("/sorts/{sort_id}/reopen")
def reopen_sort(services: ServicesDep, typed: Typed, sort_id: str) -> RedirectResponse:
    """Reopen a sort and go on with it."""
    sorts.reopen_sort(services, sort_id, event_id=typed.get("event_id", ""))
    return go_to(f"/sorts/{sort_id}")


def _create(services: Services, typed: Mapping[str, str]) -> SortInfo:
    sorted_on: date = parse_day(typed.get("sorted_on", ""))
    study_id = _study(services, typed)
    return sorts.create_sort(
        services,
        sort_id=typed.get("sort_id", ""),
        name=typed.get("name", ""),
        place=typed.get("place", ""),
        stratum=typed.get("stratum", ""),
        sorted_on=sorted_on,
        days=typed.get("days", ""),
        persons=typed.get("persons", ""),
        programme_id=typed.get("programme_id", ""),
        sorters=names(typed.get("sorters", "")),
        keeps_photos=typed.get("keeps_photos") == "yes",
        study_id=study_id,
    )


def _study(services: Services, typed: Mapping[str, str]) -> str | None:
    """Return the study that was chosen, started first where it is a new one; None for none."""
    chosen = typed.get("study", "")
    if chosen != NEW_STUDY:
        return chosen or None
    if not current_visitor().may(Permission.TEACH):
        raise NotLetInError(
            "study can't be started from this device: choose one that exists, or ask a trainer"
        )
    study = studies.create_study(
        services, study_id=typed.get("study_id", ""), name=typed.get("study_name", "")
    )
    return study.id


def _form(services: Services, form: FormState) -> HTMLResponse:
    programmes = list(services.programmes.values())
    return page(
        "sort_new.html",
        here="sorts",
        form=form,
        programmes=programmes,
        differences=programme_differences(services.categories, programmes),
        studies=services.log.studies(),
        new_study=NEW_STUDY,
    )
