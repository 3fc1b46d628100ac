"""Piles and weighings in the JSON interface."""

from __future__ import annotations

from fastapi import APIRouter

from classifier.log.records import Batch, Tare
from service.piles import usecases as piles
from service.piles.wire import (
    NewBatch,
    NewTare,
    NewWeighing,
    PilesOut,
    VoidWeighing,
    WeighedOut,
    WeighingOut,
)
from service.web.dependencies import ServicesDep

router = APIRouter()


@router.get("/tares")
def get_tares(services: ServicesDep) -> list[Tare]:
    """List the tare library."""
    return list(services.log.list_tares())


@router.post("/tares", status_code=201)
def post_tare(services: ServicesDep, body: NewTare) -> Tare:
    """Add to the tare library."""
    return piles.add_tare(services, **body.model_dump())


@router.get("/sorts/{sort_id}/piles")
def get_piles(services: ServicesDep, sort_id: str) -> PilesOut:
    """Return the piles with their batches and weighings."""
    return PilesOut.model_validate(piles.piles(services, sort_id, judged=True))


@router.post("/sorts/{sort_id}/batches", status_code=201)
def post_batch(services: ServicesDep, sort_id: str, body: NewBatch) -> Batch:
    """Start another batch of a category."""
    return piles.start_batch(services, sort_id=sort_id, **body.model_dump())


@router.post("/sorts/{sort_id}/weighings", status_code=201)
def post_weighing(services: ServicesDep, sort_id: str, body: NewWeighing) -> WeighedOut:
    """Record a weighing."""
    line = piles.weigh(services, sort_id=sort_id, **body.model_dump())
    return WeighedOut(
        weighing=WeighingOut.model_validate(line),
        piles=PilesOut.model_validate(piles.piles(services, sort_id, judged=True)),
    )


@router.post("/weighings/{weighing_id}/void")
def post_void(services: ServicesDep, weighing_id: str, body: VoidWeighing) -> PilesOut:
    """Take a weighing back."""
    sort_id = piles.void_weighing(services, weighing_id=weighing_id, **body.model_dump())
    return PilesOut.model_validate(piles.piles(services, sort_id))
