"""The JSON interface of the choice of the model."""

from __future__ import annotations

from fastapi import APIRouter

from service.usecases import bundles
from service.web import schemas
from service.web.dependencies import ServicesDep

router = APIRouter()


@router.get("/bundles")
def get_bundles(services: ServicesDep) -> schemas.BundlesOut:
    """Return which model answers, what could be promoted and what was."""
    return schemas.BundlesOut.of(bundles.list_bundles(services))


@router.post("/bundles/promote", status_code=201)
def post_promote(services: ServicesDep, body: schemas.PromoteBundle) -> schemas.BundlesOut:
    """Have a bundle answer from the next photo on."""
    return schemas.BundlesOut.of(bundles.promote(services, **body.model_dump()))


@router.post("/bundles/rollback", status_code=201)
def post_rollback(services: ServicesDep, body: schemas.RollBack) -> schemas.BundlesOut:
    """Have the bundle answer that did before the last promotion."""
    return schemas.BundlesOut.of(bundles.roll_back(services, **body.model_dump()))
