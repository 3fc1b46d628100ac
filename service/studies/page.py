"""The list of studies, and the page of one: its sorts and what they learn together."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import HTMLResponse, RedirectResponse, Response

from classifier.errors import TallytareError
from service.learning.panel import learning_panel
from service.services import Services
from service.sorts import studies
from service.web.dependencies import ServicesDep
from service.web.forms import FormState, Typed, refused
from service.web.page_support import go_to
from service.web.render import page

router = APIRouter()


@router.get("/studies", response_class=HTMLResponse)
def show_studies(services: ServicesDep) -> HTMLResponse:
    """List all studies, with the form that starts one."""
    return _list(services, FormState({}))


@router.post("/studies", response_class=HTMLResponse)
def start_study(services: ServicesDep, typed: Typed) -> Response:
    """Start a study and go to its page."""
    try:
        study = studies.create_study(
            services, study_id=typed.get("study_id", ""), name=typed.get("name", "")
        )
    except TallytareError as error:
        return _list(services, refused(typed, error))
    return go_to(f"/studies/{study.id}")


@router.get("/studies/{study_id}", response_class=HTMLResponse)
def show_study(services: ServicesDep, study_id: str) -> HTMLResponse:
    """Show a study: its sorts, its learning, its audits."""
    return study_page(services, study_id)


@router.post("/studies/{study_id}/sorts")
def put_sort_in(services: ServicesDep, typed: Typed, study_id: str) -> RedirectResponse:
    """Put a sort into the study."""
    studies.place_sort(
        services,
        sort_id=typed.get("sort_id", ""),
        study_id=study_id,
        change_id=typed.get("change_id", ""),
    )
    return go_to(f"/studies/{study_id}")


def study_page(services: Services, study_id: str, form: FormState | None = None) -> HTMLResponse:
    """Return the page of a study."""
    line = studies.get_study(services, study_id)
    sets = services.log.sorts_of_study(study_id, imported=True)
    inside = {sort.id for sort in (*line.sorts, *sets)}
    imported = {ident for ident in services.log.example_sets() if ident not in inside}
    free = [sort for sort in services.log.list_sorts() if sort.id not in inside | imported]
    return page(
        "study.html",
        here="studies",
        study=line.study,
        sorts=line.sorts,
        counted=services.log.objects_counted(line.sorts),
        sets=sets,
        free=free,
        free_sets=[services.log.get_sort(ident) for ident in sorted(imported)],
        form=form or FormState({}),
        **learning_panel(services, line.study.id),
    )


def _list(services: Services, form: FormState) -> HTMLResponse:
    lines = studies.list_studies(services)
    everything = [sort for line in lines for sort in line.sorts]
    return page(
        "studies.html",
        here="studies",
        form=form,
        lines=lines,
        counted=services.log.objects_counted(everything),
    )
