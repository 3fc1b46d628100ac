"""The owner's page: which model answers, promote another, go back."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import HTMLResponse, Response

from classifier.errors import TallytareError
from service.bundles import usecases as bundles
from service.services import Services
from service.web.dependencies import ServicesDep
from service.web.errors import problem_of
from service.web.forms import Typed
from service.web.page_support import go_to
from service.web.render import page

router = APIRouter()


@router.get("/bundles", response_class=HTMLResponse)
def show_bundles(services: ServicesDep) -> HTMLResponse:
    """Show which model answers, what could and what did."""
    return _bundles(services)


@router.post("/bundles/promote", response_class=HTMLResponse)
def promote(services: ServicesDep, typed: Typed) -> Response:
    """Promote a bundle; a refusal is shown on the page, and the old one goes on."""
    try:
        bundles.promote(
            services,
            promotion_id=typed.get("promotion_id", ""),
            bundle=typed.get("bundle", ""),
        )
    except TallytareError as error:
        return _bundles(services, error)
    return go_to("/bundles")


@router.post("/bundles/rollback", response_class=HTMLResponse)
def roll_back(services: ServicesDep, typed: Typed) -> Response:
    """Go back to the bundle before."""
    try:
        bundles.roll_back(services, promotion_id=typed.get("promotion_id", ""))
    except TallytareError as error:
        return _bundles(services, error)
    return go_to("/bundles")


def _bundles(services: Services, error: TallytareError | None = None) -> HTMLResponse:
    view = bundles.list_bundles(services)
    return page(
        "bundles.html",
        status=200 if error is None else problem_of(error).status,
        here="bundles",
        view=view,
        titles={each.name: each.title for each in view.bundles},
        message="" if error is None else error.message,
    )
