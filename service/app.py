"""The only wiring: settings in, a FastAPI application out; nothing is built at import."""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from importlib.metadata import PackageNotFoundError, version
from threading import BoundedSemaphore
from typing import Any

from fastapi import FastAPI

from classifier.domain.categories import Categories, load_categories
from classifier.domain.errors import BundleError
from classifier.domain.item_weights import load_prior_weights
from classifier.domain.national import load_national
from classifier.inference.bundle import check_bundle_categories, find_bundle, load_bundle
from classifier.inference.photo import PhotoLimits, clean_copy, decode_photo
from classifier.inference.predict import Predictor
from service.images.files import PhotoFiles
from service.loading import known_programmes
from service.settings import Settings
from service.store.log import Log
from service.store.rows import ModelRecord
from service.store.schema import open_database
from service.usecases.services import PredictorProtocol, Services
from service.web import api, pages
from service.web.error_pages import html_error
from service.web.errors import install_error_handlers
from service.web.security import Gate

logger = logging.getLogger("tallytare")


@dataclass(frozen=True, slots=True)
class LoadedModel:
    """A predictor with what the rules need of its bundle, or why there is none."""

    predictor: PredictorProtocol | None
    record: ModelRecord | None
    problem: str


class InferencePhotoReader:
    """Decodes with the limits of the settings."""

    def __init__(self, limits: PhotoLimits) -> None:
        self._limits = limits

    def decode(self, data: bytes, /) -> Any:
        """Return the photo as the predictor takes it."""
        return decode_photo(data, self._limits)

    def clean_copy(self, data: bytes, /, max_side: int) -> bytes:
        """Return a small JPEG without metadata."""
        return clean_copy(data, self._limits, max_side=max_side)


def create_app(settings: Settings, *, services: Services | None = None) -> FastAPI:
    """Build the application; `services` replaces the real ones in tests.

    Raises StorageError or DataFileError when store, categories or programmes can't be used. A
    missing or damaged model is no reason not to start: photos are then labelled by hand.
    """
    used = build_services(settings) if services is None else services

    @asynccontextmanager
    async def close_at_end(_app: FastAPI) -> AsyncIterator[None]:
        yield
        used.log.close()

    app = FastAPI(
        title="tallytare",
        version=_version(),
        lifespan=close_at_end,
        docs_url=None,  # FastAPI's pages load their scripts from elsewhere
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    app.state.services = used
    app.add_middleware(Gate, settings=settings)
    install_error_handlers(app, html_error)
    app.include_router(api.router)
    app.include_router(api.photos_router)
    app.include_router(pages.router)
    app.mount("/static", pages.static_files(), name="static")
    return app


def build_services(settings: Settings, *, model: LoadedModel | None = None) -> Services:
    """Open the store and load the rules and the model.

    Raises StorageError or DataFileError when one of them can't be used.
    """
    categories = load_categories()
    programmes = dict(known_programmes(settings, categories))
    loaded = load_model(settings, categories) if model is None else model
    database = open_database(settings.store_url, busy_timeout_s=settings.busy_timeout_s)
    limits = PhotoLimits(max_bytes=settings.max_upload_bytes, max_pixels=settings.max_pixels)
    return Services(
        settings=settings,
        log=Log(database),
        photos=PhotoFiles(settings.photos_dir),
        reader=InferencePhotoReader(limits),
        categories=categories,
        programmes=programmes,
        priors=load_prior_weights(),
        national=load_national(),
        predictor=loaded.predictor,
        model=loaded.record,
        model_problem=loaded.problem,
        inference_slots=BoundedSemaphore(settings.inference_concurrency),
        clock=partial(datetime.now, UTC),
    )


def load_model(settings: Settings, categories: Categories) -> LoadedModel:
    """Load the bundle that the settings name, or say why that is not possible."""
    try:
        bundle = load_bundle(find_bundle(settings.bundle or None))
        check_bundle_categories(bundle, [category.id for category in categories.categories])
    except BundleError as error:
        logger.warning("no suggestions: %s", error.message)
        return LoadedModel(None, None, f"No suggestions: {error.message}")
    record = ModelRecord(
        name=bundle.name,
        version=bundle.version,
        form_categories=bundle.form_categories,
        thresholds=bundle.thresholds,
    )
    return LoadedModel(Predictor(bundle), record, "")


def _version() -> str:
    try:
        return version("tallytare")
    except PackageNotFoundError:
        return "0"
