"""The form that corrects a sort's details once it has started."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import HTMLResponse, Response

from classifier.errors import InvalidEntryError, TallytareError
from classifier.log.records import SORT_DETAILS
from service.guide.pickers import programme_differences
from service.services import Services
from service.sorts import usecases as sorts
from service.web.dependencies import ServicesDep
from service.web.forms import FormState, Typed, parse_day, refused
from service.web.page_support import go_to, sort_frame
from service.web.render import page

router = APIRouter(prefix="/sorts/{sort_id}/details")
_WAS = "was_"
"""Before the name of a field: what stood in it when the form was made."""


@router.get("", response_class=HTMLResponse)
def show_details(services: ServicesDep, sort_id: str, saved: bool = False) -> HTMLResponse:
    """Show the form with the details as they are."""
    sort = services.log.get_sort(sort_id)
    values = {name: str(getattr(sort, name)) for name in SORT_DETAILS}
    shown = {f"{_WAS}{name}": value for name, value in values.items()}
    return _page(services, sort_id, FormState({**values, **shown}), saved=saved)


@router.post("", response_class=HTMLResponse)
def correct_details(services: ServicesDep, sort_id: str, typed: Typed) -> Response:
    """Correct what was changed in the form; a refusal keeps what was typed."""
    try:
        sorts.correct_sort(
            services,
            sort_id=sort_id,
            correction_id=typed.get("correction_id", ""),
            reason=typed.get("reason", ""),
            **_changed(typed),
        )
    except TallytareError as error:
        return _page(services, sort_id, refused(typed, error))
    return go_to(f"/sorts/{sort_id}/details?saved=true")


def _changed(typed: Mapping[str, str]) -> dict[str, Any]:
    """Return only what differs from what the form showed: others may have corrected the rest.

    Raises InvalidEntryError when nothing does, InvalidQuantityError for a date that is none.
    """
    found: dict[str, Any] = {
        name: typed[name]
        for name in SORT_DETAILS
        if name in typed and typed[name] != typed.get(f"{_WAS}{name}")
    }
    if not found:
        raise InvalidEntryError("nothing was changed: correct at least one detail, then save")
    if "sorted_on" in found:
        found["sorted_on"] = parse_day(found["sorted_on"])
    return found


def _page(
    services: Services, sort_id: str, form: FormState, *, saved: bool = False
) -> HTMLResponse:
    sort = services.log.get_sort(sort_id)
    programmes = list(services.programmes.values())
    return page(
        "sort_details.html",
        **sort_frame(services, sort, "details"),
        form=form,
        saved=saved,
        shown=[f"{_WAS}{name}" for name in SORT_DETAILS],
        has_items=services.log.has_items(sort_id),
        programmes=programmes,
        differences=programme_differences(services.categories, programmes),
    )
