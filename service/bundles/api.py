"""The JSON interface of the choice of the model."""

from __future__ import annotations

from fastapi import APIRouter

from service.bundles import usecases as bundles
from service.bundles.wire import BundlesOut, PromoteBundle, RollBack
from service.web.dependencies import ServicesDep

router = APIRouter()


@router.get("/bundles")
def get_bundles(services: ServicesDep) -> BundlesOut:
    """Return which model answers, what could be promoted and what was."""
    return BundlesOut.model_validate(bundles.list_bundles(services))


@router.post("/bundles/promote", status_code=201)
def post_promote(services: ServicesDep, body: PromoteBundle) -> BundlesOut:
    """Have a bundle answer from the next photo on."""
    return BundlesOut.model_validate(bundles.promote(services, **body.model_dump()))


@router.post("/bundles/rollback", status_code=201)
def post_rollback(services: ServicesDep, body: RollBack) -> BundlesOut:
    """Have the bundle answer that did before the last promotion."""
    return BundlesOut.model_validate(bundles.roll_back(services, **body.model_dump()))
