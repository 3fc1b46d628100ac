"""What all pages need: the services, the frame of a sort's pages, redirects after a form."""

from __future__ import annotations

from typing import Any

from starlette.responses import RedirectResponse

from classifier.log.records import SortInfo
from service.services import Services

TAB_NAMES = {
    "sorting": "Sorting",
    "piles": "Piles",
    "report": "Report",
    "learning": "Learning",
    "details": "Details",
}


def go_to(path: str) -> RedirectResponse:
    """Send the browser on after a form, so that reloading does not send it again."""
    return RedirectResponse(path, status_code=303)


def sort_frame(services: Services, sort: SortInfo, tab: str) -> dict[str, Any]:
    """Return what the head of each page of a sort shows."""
    return {
        "sort": sort,
        "programme": services.programme(sort.programme_id),
        "here": "sorts",
        "here_tab": tab,
        "tab_name": TAB_NAMES[tab],
    }
