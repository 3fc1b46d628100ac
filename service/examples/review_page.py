"""The trainer's pages: look through the examples, label many at once, find trouble, export."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response, StreamingResponse

from classifier.errors import InvalidEntryError, TallytareError
from classifier.examples.splits import ENOUGH_GROUPS, MIN_GROUPS
from service.examples import reviews
from service.examples.export import plan_set, set_files, zip_chunks
from service.examples.review_view import (
    SHOWN,
    STATES,
    VERDICT_WORDS,
    Filters,
    cards_of,
    read_filters,
    wanted_of,
)
from service.examples.survey import Survey, last_survey, running_since, still_true, survey
from service.services import Services
from service.store.example_rows import LABEL
from service.web.dependencies import ServicesDep
from service.web.errors import problem_of
from service.web.forms import Typed
from service.web.page_support import go_to
from service.web.pictures import picture
from service.web.render import page

router = APIRouter()
AT_ONCE_PHOTOS = 400
"""So many photos are looked through while the page waits; more than these in the background."""
_DO = {"right": (LABEL, False), "relabel": (LABEL, True)}


async def _posted(request: Request) -> dict[str, list[str]]:
    form = await request.form()
    found: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            found.setdefault(name, []).append(value)
    return found


Posted = Annotated[dict[str, list[str]], Depends(_posted)]
"""The fields of a posted form, each with all its values."""


@router.get("/examples", response_class=HTMLResponse)
def show_examples(services: ServicesDep, request: Request) -> HTMLResponse:
    """Show a page of examples with filters and the forms that label them."""
    query = request.query_params
    return _grid(
        services,
        read_filters(query),
        number=_number(query),
        who=query.get("who", ""),
        done=query.get("done", ""),
        batch=query.get("batch", ""),
    )


@router.post("/examples/review", response_class=HTMLResponse)
def post_review(services: ServicesDep, posted: Posted) -> Response:
    """Label the ticked photos; a refusal says why, and records nothing."""
    first = {name: values[0] for name, values in posted.items()}
    filters = read_filters(first)
    who = first.get("who", "")
    verdict, with_category = _DO.get(first.get("do", ""), (first.get("do", ""), False))
    category = first.get("label", "") if with_category else reviews.AS_IT_IS
    try:
        if with_category and not category:
            raise InvalidEntryError("no label is chosen: choose one, then press 'Label as'")
        count = reviews.review(
            services,
            batch_id=first.get("batch_id", ""),
            capture_ids=posted.get("capture", []),
            verdict=verdict,
            category=category,
            note=first.get("note", ""),
            sorter=who,
        )
    except TallytareError as error:
        status = problem_of(error).status
        return _grid(
            services,
            filters,
            number=_number(first),
            who=who,
            refusal=error.message,
            status=status,
            ticked=posted.get("capture", []),
            label=first.get("label", ""),
        )
    batch = first.get("batch_id", "")
    return go_to(filters.address(page=_number(first), who=who, done=count, batch=batch))


@router.post("/examples/undo")
def post_undo(services: ServicesDep, typed: Typed) -> RedirectResponse:
    """Take a batch of reviews back."""
    reviews.undo_review(
        services,
        batch_id=typed.get("batch", ""),
        undo_id=typed.get("undo_id", ""),
        sorter=typed.get("who", ""),
    )
    return go_to(read_filters(typed).address(who=typed.get("who", ""), done="undone"))


@router.get("/examples/photo/{capture_id}", response_class=HTMLResponse)
def show_example(services: ServicesDep, request: Request, capture_id: str) -> HTMLResponse:
    """Show one example large, with the history of its label."""
    view = reviews.get_example(services, capture_id)
    found = last_survey(services)
    (card,) = cards_of([view.example], found, services.categories)
    names = {each.id: each.name for each in services.categories.categories}
    return page(
        "example.html",
        here="examples",
        card=card,
        history=view.history,
        names=names,
        words=VERDICT_WORDS,
        groups=category_groups(services),
        filters=read_filters(request.query_params),
        number=_number(request.query_params),
    )


@router.get("/examples/trouble", response_class=HTMLResponse)
def show_trouble(services: ServicesDep) -> HTMLResponse:
    """Show what the last look through all examples found."""
    found = last_survey(services)
    lists = [] if found is None else [name for name, _ in SHOWN[1:]]
    counts = {name: _page_of(services, Filters({"show": name}), found, 1).total for name in lists}
    return page(
        "trouble.html",
        here="examples",
        found=found,
        made_at=None if found is None else datetime.fromisoformat(found.made_at),
        fewest=MIN_GROUPS,
        enough=ENOUGH_GROUPS,
        counts=counts,
        shown=SHOWN[1:],
        running=running_since(services),
        names={each.id: each.name for each in services.categories.categories},
        total=services.log.count_examples(wanted_of(Filters({}), None)),
    )


@router.post("/examples/trouble")
def look_for_trouble(services: ServicesDep) -> RedirectResponse:
    """Look through all examples: at once where they are few, else in the background."""
    if running_since(services) is None:
        if services.log.count_examples(wanted_of(Filters({}), None)) <= AT_ONCE_PHOTOS:
            survey(services)
        else:
            threading.Thread(target=survey, args=(services,), name="survey", daemon=True).start()
    return go_to("/examples/trouble")


@router.get("/examples/export.zip")
def export_zip(services: ServicesDep, reviewed: str = "") -> StreamingResponse:
    """Send the set as a ZIP archive while it is being made."""
    planned = plan_set(services, reviewed_only=reviewed == "yes")
    return StreamingResponse(
        zip_chunks(set_files(services, planned)),
        media_type="application/zip",
        headers={"content-disposition": 'attachment; filename="examples.zip"'},
    )


@router.get("/thumbs/{capture_id}.jpg")
def get_thumb(services: ServicesDep, request: Request, capture_id: str) -> Response:
    """Return the small picture of an example."""
    name = reviews.photo_name(services, capture_id)
    return picture(request, services.thumbs.read(name))


def _grid(
    services: Services,
    filters: Filters,
    *,
    number: int = 1,
    who: str = "",
    done: str = "",
    batch: str = "",
    refusal: str = "",
    status: int = 200,
    ticked: Sequence[str] = (),
    label: str = "",
) -> HTMLResponse:
    found = last_survey(services)
    misread = ""
    try:
        shown = _page_of(services, filters, found, number)
    except TallytareError as error:  # all photos instead might be taken for those asked for
        misread, status = error.message, problem_of(error).status
        shown = reviews.ExamplePage((), 0, 1, 1)
    return page(
        "examples.html",
        status=status,
        here="examples",
        filters=filters,
        asked=asked_words(services, filters),
        shown=shown,
        cards=cards_of(shown.examples, found, services.categories),
        lists=SHOWN,
        states=STATES,
        groups=category_groups(services),
        sorters=services.log.example_sorters(),
        sorts=services.log.example_sorts(),
        surveyed=found is not None,
        who=who,
        done=done,
        batch=batch,
        refusal=refusal,
        misread=misread,
        ticked=frozenset(ticked),
        label=label,
    )


def _number(query: Mapping[str, str]) -> int:
    """Return which page an address or a form names, the first where it names none."""
    text = query.get("page", "")
    return int(text) if text.isdecimal() and len(text) < 7 else 1


def _page_of(
    services: Services, filters: Filters, found: Survey | None, number: int
) -> reviews.ExamplePage:
    wanted = wanted_of(filters, found)
    if wanted.ids is None:
        return reviews.list_examples(services, wanted, page=number)
    place = {each: rank for rank, each in enumerate(wanted.ids)}
    known = {} if found is None else found.findings
    return reviews.list_examples(
        services,
        wanted,
        page=number,
        order=lambda each: place[each.capture_id],
        keep=lambda each: filters.show != "doubted" or still_true(known[each.capture_id], each),
    )


def asked_words(services: Services, filters: Filters) -> list[str]:
    """Return the filters in force in words, for the line that stands above the photos."""
    names = {
        "category": {each.id: each.name for each in services.categories.categories},
        "sort": dict(services.log.example_sorts()),
        "show": dict(SHOWN),
        "state": dict(STATES),
    }
    titles = {
        "sorter": "confirmed by ",
        "below": "model less sure than % ",
        "since": "from ",
        "until": "to ",
    }
    words = []
    for name, value in filters.values.items():
        if name == "disagreement":
            words.append("the model suggested something else")
        elif name != "show" or value != "all":
            words.append(titles.get(name, "") + names.get(name, {}).get(value, value))
    return words


def category_groups(services: Services) -> list[tuple[str, list[tuple[str, str]]]]:
    return [
        (group.name, [(each.id, each.name) for each in services.categories.in_group(group.id)])
        for group in services.categories.groups
    ]
