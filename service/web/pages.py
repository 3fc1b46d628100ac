"""The pages: one router of them all, and the folder of their style sheets and scripts."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.staticfiles import StaticFiles

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
    sort_details_page,
    sorts_page,
    studies_page,
    study_report_page,
)
from service.web.render import static_directory

router = APIRouter(include_in_schema=False)
for part in (
    sorts_page,
    sort_details_page,
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
