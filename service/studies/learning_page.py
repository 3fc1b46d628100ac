"""How a sort learns; the forms that set learning for studies and sorts alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from classifier.errors import InvalidEntryError, TallytareError
from service.entries import NAME_LENGTH
from service.learning import usecases as learning
from service.learning.api import head_file
from service.learning.panel import learning_panel
from service.services import Services
from service.sorts import studies
from service.studies.page import study_page
from service.web.dependencies import ServicesDep
from service.web.forms import FormState, Typed, refused
from service.web.page_support import go_to, sort_frame
from service.web.render import page

router = APIRouter()


@router.get("/sorts/{sort_id}/learning", response_class=HTMLResponse)
def show_learning(services: ServicesDep, sort_id: str) -> HTMLResponse:
    """Show how a sort learns, or which study it learns with."""
    return sort_learning(services, sort_id)


@router.post("/sorts/{sort_id}/study")
def place_sort(services: ServicesDep, typed: Typed, sort_id: str) -> RedirectResponse:
    """Put a sort into a study or take it out, and go back to where the form was."""
    studies.place_sort(
        services,
        sort_id=sort_id,
        study_id=typed.get("study_id") or None,
        change_id=typed.get("change_id", ""),
    )
    came_from = typed.get("from_study", "")
    return go_to(f"/studies/{came_from}" if came_from else f"/sorts/{sort_id}/learning")


@router.post("/learning/{scope_id}/settings", response_class=HTMLResponse)
def change_settings(services: ServicesDep, typed: Typed, scope_id: str) -> Response:
    """Switch learning on or off and set the share of audits."""
    try:
        percent = typed.get("audit_percent", "").strip()
        if not percent.isdecimal():
            raise InvalidEntryError(f"share of audits {percent!r}: give a whole number, 0 to 100")
        learning.set_learning(
            services,
            scope_id=scope_id,
            change_id=typed.get("change_id", ""),
            learns=typed.get("learns") == "yes",
            audit_percent=int(percent),
        )
    except TallytareError as error:
        return _again(services, scope_id, refused(typed, error))
    return go_to(home_of(services, scope_id))


@dataclass(frozen=True, slots=True)
class StartForm:
    """The form that chooses what learning starts from, with the file if one was chosen."""

    typed: dict[str, str]
    name: str
    content: bytes


async def _start_form(request: Request) -> StartForm:
    async with request.form(max_files=1, max_fields=10) as form:
        typed = {name: value for name, value in form.items() if isinstance(value, str)}
        file = form.get("head")
        if not isinstance(file, UploadFile):
            return StartForm(typed, "", b"")
        return StartForm(typed, (file.filename or "file")[:NAME_LENGTH], await file.read())


@router.post("/learning/{scope_id}/start", response_class=HTMLResponse)
def change_start(
    services: ServicesDep, sent: Annotated[StartForm, Depends(_start_form)], scope_id: str
) -> Response:
    """Have learning start from a file, another study or the shipped model."""
    typed, start_id = sent.typed, sent.typed.get("start_id", "")
    try:
        if sent.content:
            learning.start_from_file(
                services,
                scope_id=scope_id,
                start_id=start_id,
                name=sent.name,
                content=sent.content,
            )
        elif typed.get("from_scope"):
            learning.start_from_scope(
                services, scope_id=scope_id, start_id=start_id, other_id=typed["from_scope"]
            )
        elif typed.get("shipped") == "yes":
            learning.start_from_shipped(services, scope_id=scope_id, start_id=start_id)
        else:
            raise InvalidEntryError("nothing to start from: choose a study, a sort or a file")
    except TallytareError as error:
        return _again(services, scope_id, refused(typed, error))
    return go_to(home_of(services, scope_id))


@router.get("/learning/{scope_id}/head")
def download_head(services: ServicesDep, scope_id: str) -> Response:
    """Give what was learned as a file."""
    return head_file(*learning.export_head(services, scope_id))


def sort_learning(services: Services, sort_id: str, form: FormState | None = None) -> HTMLResponse:
    """Return the page of a sort's learning."""
    sort = services.log.get_sort(sort_id)
    study = services.log.study_of_sort(sort.id)
    panel = {} if study is not None else learning_panel(services, sort.id)
    return page(
        "learning.html",
        **sort_frame(services, sort, "learning"),
        study=study,
        studies=services.log.studies(),
        form=form or FormState({}),
        **panel,
    )


def home_of(services: Services, scope_id: str) -> str:
    """Return the address of the page on which a scope's learning stands."""
    scope = learning.get_scope(services, scope_id)
    return f"/studies/{scope.id}" if scope.is_study else f"/sorts/{scope.id}/learning"


def _again(services: Services, scope_id: str, form: FormState) -> HTMLResponse:
    """Return the page of a refused form, with what was wrong; the first error if it has none."""
    scope = learning.get_scope(services, scope_id)
    show = study_page if scope.is_study else sort_learning
    return show(services, scope.id, form)
