"""The JSON interface: parse, call one use case, render.

Endpoints are `def`: they run on threads, and the model's share of those is bounded in the use case.
"""

from __future__ import annotations

from typing import Annotated, Any

from anyio import to_thread
from fastapi import APIRouter, Query, Request, Response

from classifier.domain.conversions import Scope
from service.usecases import captures, guide, items, piles, reports, sorts, upkeep
from service.usecases.suggesting import suggestion_json
from service.usecases.views import CaptureView
from service.web import api_bundles, api_studies, schemas
from service.web.dependencies import PhotoThreadsDep, ServicesDep, UploadDep
from service.web.pictures import picture

_ERRORS: dict[int | str, dict[str, Any]] = {
    status: {"model": schemas.ErrorOut}
    for status in (400, 401, 403, 404, 405, 408, 409, 413, 415, 421, 422, 500, 503)
}
router = APIRouter(prefix="/api", responses=_ERRORS)
router.include_router(api_studies.router)
router.include_router(api_bundles.router)
photos_router = APIRouter()

WeightsFrom = Scope | None
"""Sort, study or store: over which sorts mean item weights are pooled; else the study, if any."""


class CsvResponse(Response):
    """CSV, for the description of the interface too."""

    media_type = "text/csv"


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


@router.get("/health")
def get_health(services: ServicesDep, response: Response) -> schemas.HealthOut:
    """Tell whether store and model answer; 503 only when the store does not."""
    state = upkeep.health(services)
    if not state.store:
        response.status_code = 503
    return schemas.HealthOut(
        ok=state.ok, store=state.store, model=state.model, problems=list(state.problems)
    )


@router.get("/sorts")
def get_sorts(services: ServicesDep) -> list[schemas.SortOut]:
    """List sorts, the newest first."""
    return [schemas.SortOut.of(sort) for sort in sorts.list_sorts(services)]


@router.post("/sorts", status_code=201)
def post_sort(services: ServicesDep, body: schemas.NewSort) -> schemas.SortOut:
    """Start a sort."""
    return schemas.SortOut.of(sorts.create_sort(services, **body.model_dump()))


@router.get("/sorts/{sort_id}")
def get_sort(services: ServicesDep, sort_id: str) -> schemas.SortOut:
    """Return a sort."""
    return schemas.SortOut.of(sorts.get_sort(services, sort_id))


@router.post("/sorts/{sort_id}/corrections")
def post_sort_correction(
    services: ServicesDep, sort_id: str, body: schemas.SortCorrection
) -> schemas.SortOut:
    """Correct a sort's details."""
    corrected = sorts.correct_sort(services, sort_id=sort_id, **body.model_dump())
    return schemas.SortOut.of(corrected)


@router.post("/sorts/{sort_id}/close")
def post_close(services: ServicesDep, sort_id: str, body: schemas.SortStep) -> schemas.SortOut:
    """Close a sort."""
    return schemas.SortOut.of(sorts.close_sort(services, sort_id, event_id=body.event_id))


@router.post("/sorts/{sort_id}/reopen")
def post_reopen(services: ServicesDep, sort_id: str, body: schemas.SortStep) -> schemas.SortOut:
    """Reopen a sort."""
    return schemas.SortOut.of(sorts.reopen_sort(services, sort_id, event_id=body.event_id))


@router.post("/sorts/{sort_id}/captures", status_code=201, openapi_extra=_UPLOAD_FORM)
async def post_capture(
    services: ServicesDep, sort_id: str, upload: UploadDep, threads: PhotoThreadsDep
) -> schemas.CaptureOut:
    """Send a photo and get the suggestion."""

    def take() -> schemas.CaptureOut:
        view = captures.take_photo(
            services, sort_id=sort_id, capture_id=upload.capture_id, data=upload.data
        )
        return capture_out(services, view)

    return await to_thread.run_sync(take, limiter=threads)


@router.get("/sorts/{sort_id}/captures")
def get_open_captures(services: ServicesDep, sort_id: str) -> list[schemas.CaptureOut]:
    """List the newest photos that still wait for a confirmation."""
    return [capture_out(services, each) for each in captures.open_captures(services, sort_id)]


@router.get("/captures/{capture_id}")
def get_capture(services: ServicesDep, capture_id: str) -> schemas.CaptureOut:
    """Return a photo's suggestion as it stands."""
    return capture_out(services, captures.get_capture(services, capture_id))


@router.post("/captures/{capture_id}/facts")
def post_fact(
    services: ServicesDep, capture_id: str, body: schemas.FactAnswer
) -> schemas.CaptureOut:
    """Answer a question about a photo and get the new suggestion."""
    view = captures.answer_fact(services, capture_id=capture_id, fact=body.fact, answer=body.answer)
    return capture_out(services, view)


@router.get("/sorts/{sort_id}/preview")
def get_preview(
    request: Request, services: ServicesDep, sort_id: str, category: str
) -> dict[str, Any]:
    """Return the route of a category chosen by hand; every other parameter is a fact."""
    facts = {name: value for name, value in request.query_params.items() if name != "category"}
    suggestion = captures.preview(services, sort_id=sort_id, category=category, facts=facts)
    sort = sorts.get_sort(services, sort_id)
    return suggestion_json(services, suggestion, sort.programme_id)


@router.post("/sorts/{sort_id}/items", status_code=201)
def post_item(services: ServicesDep, sort_id: str, body: schemas.NewItem) -> schemas.ConfirmedOut:
    """Confirm a photo, or enter an item by hand."""
    return schemas.ConfirmedOut.of(items.confirm(services, sort_id=sort_id, **body.model_dump()))


@router.get("/sorts/{sort_id}/items")
def get_items(services: ServicesDep, sort_id: str) -> list[schemas.HistoryOut]:
    """List items with their history, the newest first."""
    return [schemas.HistoryOut.of(each) for each in items.list_items(services, sort_id)]


@router.get("/items/{item_id}")
def get_item(services: ServicesDep, item_id: str) -> schemas.HistoryOut:
    """Return an item with its history."""
    return schemas.HistoryOut.of(items.history(services, item_id))


@router.post("/items/{item_id}/corrections")
def post_correction(
    services: ServicesDep, item_id: str, body: schemas.Correction
) -> schemas.ConfirmedOut:
    """Correct an item."""
    return schemas.ConfirmedOut.of(items.correct(services, item_id=item_id, **body.model_dump()))


@router.post("/items/{item_id}/undo")
def post_undo(services: ServicesDep, item_id: str, body: schemas.Undo) -> schemas.ConfirmedOut:
    """Undo an item."""
    return schemas.ConfirmedOut.of(items.undo(services, item_id=item_id, **body.model_dump()))


@router.get("/sorts/{sort_id}/tally")
def get_tally(services: ServicesDep, sort_id: str) -> schemas.TallyOut:
    """Return the running tally."""
    return schemas.TallyOut.of(items.tally(services, sort_id))


@router.get("/programmes")
def get_programmes(services: ServicesDep) -> list[schemas.ProgrammeOut]:
    """List the programmes that a sort can be started under."""
    return [schemas.ProgrammeOut.of(each) for each in sorts.list_programmes(services)]


@router.get("/categories")
def get_categories(
    services: ServicesDep, programme: Annotated[str | None, Query()] = None
) -> schemas.CategoriesOut:
    """List categories and facts; with a programme, each with the routes it can take."""
    return schemas.CategoriesOut.of(guide.list_categories(services, programme_id=programme))


@router.get("/tares")
def get_tares(services: ServicesDep) -> list[schemas.TareOut]:
    """List the tare library."""
    return [schemas.TareOut.of(tare) for tare in piles.list_tares(services)]


@router.post("/tares", status_code=201)
def post_tare(services: ServicesDep, body: schemas.NewTare) -> schemas.TareOut:
    """Add to the tare library."""
    return schemas.TareOut.of(piles.add_tare(services, **body.model_dump()))


@router.get("/sorts/{sort_id}/piles")
def get_piles(services: ServicesDep, sort_id: str) -> schemas.PilesOut:
    """Return the piles with their batches and weighings."""
    return schemas.PilesOut.of(piles.piles(services, sort_id, judged=True))


@router.post("/sorts/{sort_id}/batches", status_code=201)
def post_batch(services: ServicesDep, sort_id: str, body: schemas.NewBatch) -> schemas.BatchOut:
    """Start another batch of a category."""
    return schemas.BatchOut.of(piles.start_batch(services, sort_id=sort_id, **body.model_dump()))


@router.post("/sorts/{sort_id}/weighings", status_code=201)
def post_weighing(
    services: ServicesDep, sort_id: str, body: schemas.NewWeighing
) -> schemas.WeighedOut:
    """Record a weighing."""
    line = piles.weigh(services, sort_id=sort_id, **body.model_dump())
    return schemas.WeighedOut(
        weighing=schemas.WeighingOut.of(line),
        piles=schemas.PilesOut.of(piles.piles(services, sort_id, judged=True)),
    )


@router.post("/weighings/{weighing_id}/void")
def post_void(
    services: ServicesDep, weighing_id: str, body: schemas.VoidWeighing
) -> schemas.PilesOut:
    """Take a weighing back."""
    sort_id = piles.void_weighing(services, weighing_id=weighing_id, **body.model_dump())
    return schemas.PilesOut.of(piles.piles(services, sort_id))


@router.get("/sorts/{sort_id}/report")
@router.get("/sorts/{sort_id}/report.json")
def get_report(services: ServicesDep, sort_id: str, weights: WeightsFrom = None) -> dict[str, Any]:
    """Return the report as JSON; `weights` says which sorts mean item weights are from."""
    return reports.report_as_json(services, sort_id, weights_from=weights)


@router.get("/sorts/{sort_id}/report.csv", response_class=CsvResponse)
def get_report_csv(services: ServicesDep, sort_id: str, weights: WeightsFrom = None) -> Response:
    """Return the report as tidy CSV; `weights` as for JSON."""
    return _csv(reports.report_as_csv(services, sort_id, weights_from=weights), "report.csv")


@router.get("/data-dictionary.csv", response_class=CsvResponse)
def get_data_dictionary() -> Response:
    """Return what each column of the report's CSV holds."""
    return _csv(reports.data_dictionary_csv(), "data-dictionary.csv")


@photos_router.get("/photos/{capture_id}.jpg", include_in_schema=False)
def get_photo(services: ServicesDep, request: Request, capture_id: str) -> Response:
    """Return the cleaned photo of a capture."""
    return picture(request, captures.read_photo(services, capture_id))


def capture_out(services: ServicesDep, view: CaptureView) -> schemas.CaptureOut:
    """Return a capture as the wire shows it; pages embed the same shape."""
    sort = sorts.get_sort(services, view.sort_id)
    as_json = suggestion_json(services, view.suggestion, sort.programme_id, model=view.model)
    return schemas.CaptureOut.of(view, as_json)


def _csv(text: str, name: str) -> Response:
    return CsvResponse(text, headers={"content-disposition": f'attachment; filename="{name}"'})
