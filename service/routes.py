"""All routes of the web app: pages, the JSON interface, and the files that pages load."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response
from starlette.staticfiles import StaticFiles

from service.bundles import api as bundles_api
from service.bundles import page as bundles_page
from service.examples import import_page, review_page, set_page
from service.guide import api as guide_api
from service.guide import page as guide_page
from service.keeping import upkeep
from service.learning import api as learning_api
from service.piles import api as piles_api
from service.piles import page as piles_page
from service.reports import api as reports_api
from service.reports import page as reports_page
from service.sheets import page as sheets_page
from service.sorting import api as sorting_api
from service.sorting import page as sorting_page
from service.sorts import api as sorts_api
from service.sorts import details_page
from service.sorts import page as sorts_page
from service.studies import api as studies_api
from service.studies import learning_page, report_page
from service.studies import page as studies_page
from service.web import devices_page, shell_page
from service.web.dependencies import ServicesDep
from service.web.render import static_directory
from service.web.wire import ErrorOut, HealthOut

_ERRORS: dict[int | str, dict[str, Any]] = {
    status: {"model": ErrorOut}
    for status in (400, 401, 403, 404, 405, 408, 409, 413, 415, 421, 422, 500, 503)
}
api = APIRouter(prefix="/api", responses=_ERRORS)
pages = APIRouter(include_in_schema=False)


@api.get("/health")
def get_health(services: ServicesDep, response: Response) -> HealthOut:
    """Tell whether store and model answer; 503 only when the store does not."""
    state = upkeep.health(services)
    if not state.store:
        response.status_code = 503
    return HealthOut(
        ok=state.ok, store=state.store, model=state.model, problems=list(state.problems)
    )


for part in (
    sorts_api,
    sorting_api,
    piles_api,
    reports_api,
    studies_api,
    learning_api,
    guide_api,
    bundles_api,
):
    api.include_router(part.router)

for part in (
    sorts_page,
    details_page,
    sorting_page,
    piles_page,
    reports_page,
    sheets_page,
    guide_page,
    devices_page,
    shell_page,
    studies_page,
    report_page,
    learning_page,
    bundles_page,
    set_page,
    import_page,
    review_page,
):
    pages.include_router(part.router)
pages.include_router(sorting_api.photos_router)


def static_files() -> StaticFiles:
    """Return the files that the pages load; all are local."""
    return StaticFiles(directory=static_directory())
