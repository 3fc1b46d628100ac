"""The sorting page; all else on it happens through the JSON interface."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from starlette.responses import HTMLResponse

from classifier.log.records import SortInfo
from classifier.rules.search import ASKED_FIRST
from service.guide.pickers import fact_list, picker_groups, programme_data
from service.services import Services
from service.sorting import captures, items
from service.sorting.captures import CaptureView
from service.sorting.suggesting import suggestion_json
from service.sorting.wire import CaptureOut, ItemOut, TallyOut
from service.sorts import usecases as sorts
from service.web.dependencies import ServicesDep
from service.web.page_support import sort_frame
from service.web.render import as_data, page
from service.web.route_marks import route_defs

router = APIRouter()


RECENT = 12


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
    sort = sorts.get_sort(services, sort_id)
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
    sort_id = sort.id
    recent = [each.current for each in items.list_items(services, sort_id)[:RECENT]]
    return {
        "sort": {"id": sort_id, "keeps_photos": sort.keeps_photos},
        "tally": TallyOut.of(items.tally(services, sort_id)).model_dump(mode="json"),
        "recent": [ItemOut.of(each).model_dump(mode="json") for each in recent],
        "open": [
            _capture(services, sort.programme_id, each)
            for each in captures.open_captures(services, sort_id)
        ],
    }


def _capture(services: Services, programme_id: str, view: CaptureView) -> dict[str, Any]:
    found = suggestion_json(services, view.suggestion, programme_id, model=view.model)
    return CaptureOut.of(view, found).model_dump(mode="json")
