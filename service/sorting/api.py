"""Photos and items in the JSON interface.

Endpoints are `def`: they run on threads, and the share of the model in those is limited in the use
case.
"""

from __future__ import annotations

from typing import Any

from anyio import to_thread
from fastapi import APIRouter, Request, Response

from service.sorting import captures, items
from service.sorting.items import Tally
from service.sorting.suggesting import suggestion_by_hand, suggestion_json
from service.sorting.wire import (
    CaptureOut,
    ConfirmedOut,
    Correction,
    FactAnswer,
    HistoryOut,
    NewItem,
    Undo,
    capture_out,
)
from service.web.dependencies import PhotoThreadsDep, ServicesDep, UploadDep
from service.web.pictures import picture

router = APIRouter()

photos_router = APIRouter()

_UPLOAD_FORM = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["capture_id", "photo"],
                    "properties": {
                        "capture_id": {"type": "string", "format": "uuid"},
                        "photo": {"type": "string", "format": "binary"},
                    },
                }
            }
        },
    }
}


@router.post("/sorts/{sort_id}/captures", status_code=201, openapi_extra=_UPLOAD_FORM)
async def post_capture(
    services: ServicesDep, sort_id: str, upload: UploadDep, threads: PhotoThreadsDep
) -> CaptureOut:
    """Send a photo and get the suggestion."""

    def take() -> CaptureOut:
        view = captures.take_photo(
            services, sort_id=sort_id, capture_id=upload.capture_id, data=upload.data
        )
        return capture_out(services, view)

    return await to_thread.run_sync(take, limiter=threads)


@router.get("/sorts/{sort_id}/captures")
def get_open_captures(services: ServicesDep, sort_id: str) -> list[CaptureOut]:
    """List the newest photos that still wait for a confirmation."""
    return [capture_out(services, each) for each in captures.open_captures(services, sort_id)]


@router.get("/captures/{capture_id}")
def get_capture(services: ServicesDep, capture_id: str) -> CaptureOut:
    """Return a photo's suggestion as it stands."""
    return capture_out(services, captures.get_capture(services, capture_id))


@router.post("/captures/{capture_id}/facts")
def post_fact(services: ServicesDep, capture_id: str, body: FactAnswer) -> CaptureOut:
    """Answer a question about a photo and get the new suggestion."""
    view = captures.answer_fact(services, capture_id=capture_id, fact=body.fact, answer=body.answer)
    return capture_out(services, view)


@router.get("/sorts/{sort_id}/preview")
def get_preview(
    request: Request, services: ServicesDep, sort_id: str, category: str
) -> dict[str, Any]:
    """Return the route of a category chosen by hand; every other parameter is a fact."""
    facts = {name: value for name, value in request.query_params.items() if name != "category"}
    programme_id = services.log.get_sort(sort_id).programme_id
    programme = services.programme(programme_id)
    found = suggestion_by_hand(services, category, programme, facts)
    return suggestion_json(services, found, programme_id)


@router.post("/sorts/{sort_id}/items", status_code=201)
def post_item(services: ServicesDep, sort_id: str, body: NewItem) -> ConfirmedOut:
    """Confirm a photo, or enter an item by hand."""
    return ConfirmedOut.model_validate(
        items.confirm(services, sort_id=sort_id, **body.model_dump())
    )


@router.get("/sorts/{sort_id}/items")
def get_items(services: ServicesDep, sort_id: str) -> list[HistoryOut]:
    """List items with their history, the newest first."""
    return [HistoryOut.model_validate(each) for each in items.list_items(services, sort_id)]


@router.get("/items/{item_id}")
def get_item(services: ServicesDep, item_id: str) -> HistoryOut:
    """Return an item with its history."""
    state = services.log.get_item(item_id.lower())
    return HistoryOut.model_validate(items.history_of(services, state))


@router.post("/items/{item_id}/corrections")
def post_correction(services: ServicesDep, item_id: str, body: Correction) -> ConfirmedOut:
    """Correct an item."""
    return ConfirmedOut.model_validate(
        items.correct(services, item_id=item_id, **body.model_dump())
    )


@router.post("/items/{item_id}/undo")
def post_undo(services: ServicesDep, item_id: str, body: Undo) -> ConfirmedOut:
    """Undo an item."""
    return ConfirmedOut.model_validate(items.undo(services, item_id=item_id, **body.model_dump()))


@router.get("/sorts/{sort_id}/tally")
def get_tally(services: ServicesDep, sort_id: str) -> Tally:
    """Return the running tally."""
    return items.tally(services, sort_id)


@photos_router.get("/photos/{capture_id}.jpg", include_in_schema=False)
def get_photo(services: ServicesDep, request: Request, capture_id: str) -> Response:
    """Return the cleaned photo of a capture."""
    return picture(request, captures.read_photo(services, capture_id))
