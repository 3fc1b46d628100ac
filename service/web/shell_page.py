"""The worker that keeps the sorting page in the browser, and what it shows for other pages."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import HTMLResponse, Response

from service.web.render import page
from service.web.shell import worker_script

router = APIRouter()


@router.get("/sw.js")
def worker() -> Response:
    """Return the service worker; it stands at the root since its address bounds its power."""
    return Response(worker_script(), media_type="text/javascript")


@router.get("/away", response_class=HTMLResponse)
def show_away() -> HTMLResponse:
    """Show which sorting pages can be opened without the server."""
    return page("away.html")
