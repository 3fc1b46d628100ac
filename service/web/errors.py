"""One table from errors to HTTP, one shape in JSON, for everything that can go wrong.

Every answer that is no success reads {"error": {"code", "message", "details"}}. A page gets HTML
instead, from the function that the pages hand to `install_error_handlers`.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from classifier.errors import (
    BundleError,
    ClosedSortError,
    ConflictError,
    DataFileError,
    ImpossibleWeighingError,
    InvalidEntryError,
    InvalidQuantityError,
    NotLetInError,
    PhotoTooLargeError,
    StorageError,
    TallytareError,
    UnknownIdError,
    UnreadablePhotoError,
)
from classifier.learning.head import HeadError

logger = logging.getLogger("tallytare")

STATUS: Mapping[type[TallytareError], int] = {
    InvalidEntryError: 422,
    InvalidQuantityError: 422,
    ImpossibleWeighingError: 422,
    UnreadablePhotoError: 422,
    HeadError: 422,
    UnknownIdError: 404,
    NotLetInError: 403,
    ConflictError: 409,
    ClosedSortError: 409,
    PhotoTooLargeError: 413,
    DataFileError: 500,
    BundleError: 503,
    StorageError: 503,
}

LONGEST_MESSAGE = 2_000
"""Characters of a message that reach a client; a list of mistakes in a programme file fits."""
_LONGEST_VALUE, _MOST_VALUES = 400, 200

_HTTP_PROBLEMS: Mapping[int, tuple[str, str]] = {
    400: ("bad_request", "the request can't be read: reload the page and try again"),
    404: ("not_found", "there is nothing at this address: go back to the list of sorts"),
    405: ("method_not_allowed", "this address does not take that kind of request"),
}


@dataclass(frozen=True, slots=True)
class Problem:
    """An error on its way to a client."""

    status: int
    code: str
    message: str
    details: Mapping[str, object] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)


HtmlError = Callable[[Request, Problem], Response]


def problem_of(error: TallytareError) -> Problem:
    """Return an error with its HTTP status, that of its nearest class in the table."""
    status = next((STATUS[kind] for kind in type(error).__mro__ if kind in STATUS), 500)
    about = {"field": error.fields[0]} if error.fields else {}
    return Problem(status, error.code, error.message, {**error.details, **about})


def answer(request: Request, problem: Problem) -> Response:
    """Return a problem as JSON, or as a page where a person opened one."""
    problem = _brief(problem)
    html: HtmlError | None = getattr(request.app.state, "html_error", None)
    if html is not None and _wants_html(request):
        response = html(request, problem)
    else:
        response = json_answer(problem)
    response.headers.update(problem.headers)
    return response


def _brief(problem: Problem) -> Problem:
    """Return a problem that does not send back the megabyte that caused it."""
    return replace(
        problem,
        message=_shortened(problem.message, LONGEST_MESSAGE),
        details={name: _short_value(value) for name, value in problem.details.items()},
    )


def _short_value(value: object) -> object:
    if isinstance(value, str):
        return _shortened(value, _LONGEST_VALUE)
    if isinstance(value, dict):
        return {name: _short_value(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_short_value(each) for each in value[:_MOST_VALUES]]
    return value


def _shortened(text: str, most: int) -> str:
    """Cut out the middle: a message begins with what was given and ends with what to do."""
    if len(text) <= most:
        return text
    return f"{text[: most * 3 // 4]} [...] {text[-most // 4 :]}"


def json_answer(problem: Problem) -> Response:
    """Return a problem in the one JSON shape."""
    body = {
        "error": {
            "code": problem.code,
            "message": problem.message,
            "details": dict(problem.details),
        }
    }
    text = json.dumps(body, ensure_ascii=True, default=str)
    return Response(text, status_code=problem.status, media_type="application/json")


def internal_problem() -> Problem:
    """Return what a client learns of a mistake of ours: nothing that could reveal anything."""
    return Problem(
        500,
        "internal",
        "something went wrong in the service; nothing half done was kept. Try again; if it fails, "
        "look at the service's own messages",
    )


def install_error_handlers(app: FastAPI, html_error: HtmlError | None = None) -> None:
    """Make every error of the app leave in the shape above."""
    app.state.html_error = html_error

    @app.exception_handler(TallytareError)
    def _known(request: Request, error: TallytareError) -> Response:
        problem = problem_of(error)
        if problem.status >= 500:
            logger.error("%s: %s", problem.code, problem.message)
        return answer(request, problem)

    @app.exception_handler(RequestValidationError)
    def _invalid(request: Request, error: RequestValidationError) -> Response:
        return answer(request, _validation_problem(error))

    @app.exception_handler(HTTPException)
    def _http(request: Request, error: HTTPException) -> Response:
        code, message = _HTTP_PROBLEMS.get(error.status_code, ("http", str(error.detail)))
        response = answer(request, Problem(error.status_code, code, message))
        for name, value in (error.headers or {}).items():
            response.headers[name] = value
        return response


def _validation_problem(error: RequestValidationError) -> Problem:
    found = [
        {"where": ".".join(str(part) for part in each["loc"][1:]), "message": each["msg"]}
        for each in error.errors()
    ]
    first = found[0] if found else {"where": "", "message": "can't be read"}
    where = first["where"] or "the request"
    return Problem(
        422,
        "invalid_request",
        f"{where}: {first['message']}. Correct it and send it again",
        {"fields": found},
    )


def _wants_html(request: Request) -> bool:
    return not request.url.path.startswith("/api") and "text/html" in request.headers.get(
        "accept", ""
    )
