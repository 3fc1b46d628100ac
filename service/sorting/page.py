"""The sorting page; all else on it happens through the JSON interface."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from classifier.log.records import SortInfo
from classifier.rules.search import ASKED_FIRST
from service.guide.pickers import fact_list, picker_groups, programme_data
from service.services import Services
from service.sorting import captures, items
from service.sorting.wire import ItemOut, capture_out
from service.web.dependencies import ServicesDep
from service.web.page_support import sort_frame
from service.web.render import as_data, page
from service.web.route_marks import route_defs
from service.web.wire import Answer

router = APIRouter()

KEYS = (
    ("p", "take a photo, or choose one"),
    ("y", "yes: put it on the pile shown"),
    ("1 2 3", "take that alternative instead"),
    ("c", "choose another pile"),
    ("l", "something is left in it"),
    ("a s d f …", "answer the question, in the order of its buttons"),
    ("x", "not sure about the question"),
    ("+ -", "more or fewer of the same"),
    ("n", "write a note"),
    ("q", "skip this photo: nothing is counted"),
    ("w", "an item without a photo"),
    ("r", "the same again"),
    ("u", "undo the last record"),
)


@router.get("/sorts/{sort_id}", response_class=HTMLResponse)
def show_sorting(services: ServicesDep, sort_id: str) -> HTMLResponse:
    """Show the sorting page of an open sort; a closed one says how to go on."""
    sort = services.log.get_sort(sort_id)
    frame = sort_frame(services, sort, "sorting")
    if sort.closed:
        return page("sorting_closed.html", **frame)
    groups = picker_groups(services.categories, frame["programme"])
    data = _data(services, sort) | {
        "groups": groups,
        "facts": fact_list(services.categories),
        "programme": programme_data(frame["programme"]),
    }
    return page(
        "sorting.html",
        **frame,
        groups=groups,
        keys=KEYS,
        asked_first=ASKED_FIRST,
        route_defs=route_defs(),
        tally_objects=data["tally"]["objects"],
        sorting_data=as_data(data),
    )


def _data(services: Services, sort: SortInfo) -> dict[str, Any]:
    state = items.sorting_state(services, sort.id)
    waiting = [captures.view(services, sort, each) for each in state.open]
    return {
        "sort": {"id": sort.id, "keeps_photos": sort.keeps_photos},
        "tally": asdict(state.tally),
        "recent": [_as_json(ItemOut.model_validate(each)) for each in state.recent],
        "open": [_as_json(capture_out(services, each)) for each in waiting],
    }


def _as_json(answer: Answer) -> dict[str, Any]:
    return answer.model_dump(mode="json")
