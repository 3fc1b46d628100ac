"""Errors as pages: what happened, and what to do now."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import HTMLResponse

from service.web.access import SESSION_LIFE
from service.web.errors import Problem
from service.web.forms import FormState
from service.web.render import page

_DAYS = SESSION_LIFE.days
_TITLES = {
    400: "That could not be used",
    404: "Nothing is here",
    408: "That took too long",
    405: "That does not work here",
    409: "That was not recorded",
    413: "That is too large",
    415: "That could not be read",
    422: "Something in the form is not right",
    500: "The server made a mistake",
    403: "You have no permission for that",
    421: "This address is not known here",
    503: "The server can't do that now",
}
_ADVICE = {
    "role_too_small": "Go back, or do it at the laptop.",
    "foreign_origin": "Open the page under the address that the service printed, and try again.",
    "closed_sort": "Reopen the sort on the list of sorts, then do it again.",
    "conflict": "Go back, load the page again and look at what was recorded before you repeat it.",
    "unknown_id": "Check the address, or choose from the list of sorts.",
    "storage": "Nothing was lost that was recorded before. Make room on the disk, then try again.",
    "not_found": "Check the address, or choose from the list of sorts.",
    "internal": "What was recorded before is kept. Try again. If it fails, run tallytare check.",
}


def html_error(request: Request, problem: Problem) -> HTMLResponse:
    """Return an error in the look of the pages, with the way back to the sort if there is one."""
    if problem.status == 401:
        return page("join.html", status=401, form=FormState({}, problem.message), days=_DAYS)
    sort_id = request.path_params.get("sort_id") if problem.code != "unknown_id" else None
    return page(
        "error.html",
        status=problem.status,
        title=_TITLES.get(problem.status, "That did not work"),
        message=problem.message[:1].upper() + problem.message[1:],
        advice=_ADVICE.get(problem.code, "Go back, fix what the message names, and try again."),
        sort_id=sort_id,
        of_examples=request.url.path.startswith("/examples"),
    )
