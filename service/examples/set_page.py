"""Around the review: the set itself, withdrawals, second opinions and agreement."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import HTMLResponse, Response

from classifier.errors import InvalidEntryError, TallytareError
from service.examples import agreement, reviews
from service.examples.review_page import Posted, category_groups
from service.services import Services
from service.store.example_rows import LEFT_OUT, Wanted
from service.web.dependencies import ServicesDep
from service.web.errors import problem_of
from service.web.forms import Typed
from service.web.page_support import go_to
from service.web.render import page

router = APIRouter()
_FEW_PHOTOS = 20
"""Below this the bootstrap of agreement is too narrow to give its value a word."""


@router.get("/examples/set", response_class=HTMLResponse)
def show_set(services: ServicesDep) -> HTMLResponse:
    """Show what an export would hold, and what was imported."""
    count = services.log.count_examples
    left_out = sum(count(Wanted(verdict=verdict)) for verdict in LEFT_OUT)
    return page(
        "example_set.html",
        here="examples",
        total=count(Wanted()) - left_out,
        reviewed=count(Wanted(reviewed=True)) - left_out,  # to leave one out is a review, too
        left_out=left_out,
        sets=sorted(services.log.example_sets().items(), key=lambda pair: pair[1]),
    )


@router.get("/examples/withdraw", response_class=HTMLResponse)
def show_withdraw(
    services: ServicesDep, sorter: str = "", sort: str = "", done: str = "", request: str = ""
) -> HTMLResponse:
    """Ask whose photos to withdraw, or say how many that would be or were."""
    return _withdraw_page(services, sorter, sort, done=done, request=request)


@router.post("/examples/withdraw", response_class=HTMLResponse)
def post_withdraw(services: ServicesDep, posted: Posted) -> Response:
    """Withdraw photos: those named, or all of a sorter or a sort."""
    first = {name: values[0] for name, values in posted.items()}
    sorter, sort = first.get("sorter", ""), first.get("sort", "")
    request = first.get("request_id", "").lower()
    try:
        if first.get("sure") != "yes":
            raise InvalidEntryError("withdrawing can't be undone: tick that you are sure")
        chosen = tuple(posted.get("capture", ())) or reviews.withdrawable(
            services, sorter=sorter or None, sort_id=sort or None
        )
        done = reviews.withdraw(
            services,
            request_id=request,
            capture_ids=chosen,
            reason=first.get("reason", ""),
            sorter=first.get("who", ""),
        )
    except TallytareError as error:
        status = problem_of(error).status
        return _withdraw_page(services, sorter, sort, refusal=error.message, status=status)
    return go_to(f"/examples/withdraw?done={done}&request={request}")


@router.get("/second-opinions", response_class=HTMLResponse)
def show_second(services: ServicesDep, who: str = "") -> HTMLResponse:
    """Show a photo that a person has not labelled yet, without any label."""
    return _second_page(services, who)


@router.post("/second-opinions", response_class=HTMLResponse)
def post_second(services: ServicesDep, typed: Typed) -> Response:
    """Record a second opinion and show the next photo."""
    who = typed.get("who", "")
    cant_tell = typed.get("cant_tell") == "yes"
    try:
        if not cant_tell and not typed.get("label"):
            raise InvalidEntryError("no label is chosen: choose one, or press 'I can't tell'")
        agreement.give_second_opinion(
            services,
            review_id=typed.get("review_id", ""),
            capture_id=typed.get("capture", ""),
            category=agreement.CANT_TELL if cant_tell else typed.get("label", ""),
            sorter=who,
        )
    except TallytareError as error:
        return _second_page(services, who, refusal=error.message, status=problem_of(error).status)
    return _second_page(services, who)


@router.get("/examples/agreement", response_class=HTMLResponse)
def show_agreement(services: ServicesDep) -> HTMLResponse:
    """Show how far people agree on blind labels."""
    found = agreement.agreement(services)
    named = [("Krippendorff's alpha", found.alpha), ("Fleiss's kappa", found.fleiss)]
    named += [(f"Cohen's kappa: {each.first}, {each.second}", each.kappa) for each in found.pairs]
    return page(
        "agreement.html",
        here="examples",
        found=found,
        few=_FEW_PHOTOS,
        coefficients=[(name, estimate) for name, estimate in named if estimate is not None],
        names={each.id: each.name for each in services.categories.categories},
    )


def _withdraw_page(
    services: Services,
    sorter: str,
    sort: str,
    *,
    done: str = "",
    request: str = "",
    refusal: str = "",
    status: int = 200,
) -> HTMLResponse:
    count = sort_name = None
    if (sorter or sort) and not refusal:
        chosen = reviews.withdrawable(services, sorter=sorter or None, sort_id=sort or None)
        count = len(chosen)
        sort_name = services.log.get_sort(sort.lower()).name if sort else None
    return page(
        "withdraw.html",
        status=status,
        here="examples",
        count=count,
        sorter=sorter,
        sort_id=sort,
        sort_name=sort_name,
        sorters=services.log.photo_sorters(),
        sorts=services.log.photo_sorts(),
        done=done,
        files=[f"{each}.jpg" for each in services.log.withdrawn_at_once(request)]
        if request
        else [],
        refusal=refusal,
    )


def _second_page(
    services: Services, who: str, *, refusal: str = "", status: int = 200
) -> HTMLResponse:
    capture_id, waiting = None, 0
    if who.strip():
        found, waiting = agreement.next_for_second_opinion(services, sorter=who)
        capture_id = None if found is None else found.capture_id
    return page(
        "second.html",
        status=status,
        here="sorts",
        who=who.strip(),
        capture_id=capture_id,
        waiting=waiting,
        groups=category_groups(services),
        refusal=refusal,
    )
