"""Sorts in the JSON interface: parse, call one use case, render."""

from __future__ import annotations

from fastapi import APIRouter

from classifier.log.records import SortInfo
from service.sorts import usecases as sorts
from service.sorts.wire import NewSort, SortCorrection, SortStep
from service.web.dependencies import ServicesDep

router = APIRouter()


@router.get("/sorts")
def get_sorts(services: ServicesDep) -> list[SortInfo]:
    """List sorts, the newest first."""
    return list(services.log.list_sorts())


@router.post("/sorts", status_code=201)
def post_sort(services: ServicesDep, body: NewSort) -> SortInfo:
    """Start a sort."""
    return sorts.create_sort(services, **body.model_dump())


@router.get("/sorts/{sort_id}")
def get_sort(services: ServicesDep, sort_id: str) -> SortInfo:
    """Return a sort."""
    return services.log.get_sort(sort_id)


@router.post("/sorts/{sort_id}/corrections")
def post_sort_correction(services: ServicesDep, sort_id: str, body: SortCorrection) -> SortInfo:
    """Correct a sort's details."""
    return sorts.correct_sort(services, sort_id=sort_id, **body.model_dump())


@router.post("/sorts/{sort_id}/close")
def post_close(services: ServicesDep, sort_id: str, body: SortStep) -> SortInfo:
    """Close a sort."""
    return sorts.close_sort(services, sort_id, event_id=body.event_id)


@router.post("/sorts/{sort_id}/reopen")
def post_reopen(services: ServicesDep, sort_id: str, body: SortStep) -> SortInfo:
    """Reopen a sort."""
    return sorts.reopen_sort(services, sort_id, event_id=body.event_id)
