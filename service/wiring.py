"""From settings to the collaborators of the use cases; without the web, for the command line."""

from __future__ import annotations

import logging
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from typing import Any

from classifier.domain.categories import Categories, load_categories
from classifier.domain.errors import BundleError
from classifier.domain.item_weights import load_prior_weights
from classifier.domain.national import load_national
from classifier.inference.bundle import check_bundle_categories, find_bundle, load_bundle
from classifier.inference.photo import PhotoLimits, decode_photo, jpeg_copy
from classifier.inference.predict import Predictor
from service.images.files import PhotoFiles
from service.loading import known_programmes
from service.settings import Settings
from service.store.log import Log
from service.store.rows import ModelRecord
from service.store.schema import open_database
from service.usecases.services import PredictorProtocol, Services

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

    def read(self, data: bytes, /, max_side: int) -> tuple[Any, bytes]:
        """Return the photo as the predictor takes it, and a small JPEG without metadata."""
        photo = decode_photo(data, self._limits, copy_side=max_side)
        return photo, jpeg_copy(photo, max_side=max_side)


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
        # Threads of their own: the C library keeps freed pictures for each thread that held one.
        inference=ThreadPoolExecutor(settings.inference_concurrency, "inference"),
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
