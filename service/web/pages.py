"""The pages: one router of them all, and the folder of their style sheets and scripts."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import to_thread
from fastapi import APIRouter, FastAPI
from starlette.staticfiles import StaticFiles

from service.usecases.example_upload import forget_old_uploads
from service.usecases.examples import forget_withdrawn_thumbs
from service.usecases.services import Services
from service.web import (
    bench_page,
    bundles_page,
    devices_page,
    example_pages,
    field_sheet_page,
    guide_page,
    import_page,
    learning_page,
    piles_page,
    report_page,
    review_page,
    shell_page,
    sorts_page,
    studies_page,
    study_report_page,
)
from service.web.render import static_directory


@asynccontextmanager
async def _tidy(app: FastAPI) -> AsyncIterator[None]:
    """Delete at the start the private pictures that nobody needs any more."""
    services: Services = app.state.services
    await to_thread.run_sync(forget_old_uploads, services.settings.data_dir)
    await to_thread.run_sync(forget_withdrawn_thumbs, services)
    yield


router = APIRouter(include_in_schema=False, lifespan=_tidy)
for part in (
    sorts_page,
    bench_page,
    piles_page,
    report_page,
    field_sheet_page,
    guide_page,
    devices_page,
    shell_page,
    studies_page,
    study_report_page,
    learning_page,
    bundles_page,
    example_pages,
    import_page,
    review_page,
):
    router.include_router(part.router)


def static_files() -> StaticFiles:
    """Return the files that the pages load; all are local."""
    return StaticFiles(directory=static_directory())
