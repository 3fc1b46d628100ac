"""From settings to the collaborators of the use cases; without the web, for the command line."""

from __future__ import annotations

import logging
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from datetime import UTC, datetime
from functools import partial
from typing import Any

from classifier.inference.photo import PhotoLimits, decode_photo, jpeg_copy
from classifier.report.item_weights import load_prior_weights
from classifier.report.national import load_national
from classifier.rules.categories import load_categories
from service.bundles.registry import BundleRegistry
from service.loading import known_programmes
from service.model_cache import LoadedModel, ModelCache
from service.photos.places import open_photos
from service.private import close_to_others, make_private
from service.services import Services
from service.settings import Settings
from service.store.log import Log
from service.store.schema import open_database

logger = logging.getLogger("tallytare")


class InferencePhotoReader:
    """Decodes with the limits of the settings."""

    def __init__(self, limits: PhotoLimits) -> None:
        self._limits = limits

    def read(self, data: bytes, /, max_side: int) -> tuple[Any, bytes]:
        """Return the photo as the predictor takes it, and a small JPEG without metadata."""
        photo = decode_photo(data, self._limits, copy_side=max_side)
        return photo, jpeg_copy(photo, max_side=max_side)


def build_services(settings: Settings, *, model: LoadedModel | None = None) -> Services:
    """Open the store, load the rules and begin to load the model, which goes on meanwhile.

    Whoever asks for the model waits for it. A `model` that is given answers whatever was promoted.

    Raises StorageError or DataFileError when one of them can't be used.
    """
    # Names, photos and uploads are nobody else's on this machine. Where it can't be made, whoever
    # needs it says so: with PostgreSQL and photos elsewhere that may be nobody.
    with suppress(OSError):
        make_private(settings.data_dir)
        close_to_others(*(each for each in settings.data_dir.iterdir() if each.is_dir()))
    categories = load_categories()
    programmes = dict(known_programmes(settings, categories))
    photos = open_photos(settings.photos_place)
    database = open_database(settings.store_place, busy_timeout_s=settings.busy_timeout_s)
    log = Log(database)
    registry = BundleRegistry(
        settings.bundles_dir,
        start=settings.bundle,
        category_ids=frozenset(category.id for category in categories.categories),
        given=model,
    )
    models = ModelCache(registry, log.promoted_bundle if model is None else str)
    # Threads of their own: the C library keeps freed pictures for each thread that held one.
    inference = ThreadPoolExecutor(settings.inference_concurrency, "inference")
    if model is None:
        # From now on, so that the first photo need not wait for it.
        inference.submit(models.newest).add_done_callback(_tell_failure)
    limits = PhotoLimits(max_bytes=settings.max_upload_bytes, max_pixels=settings.max_pixels)
    return Services(
        settings=settings,
        log=log,
        photos=photos,
        reader=InferencePhotoReader(limits),
        categories=categories,
        programmes=programmes,
        priors=load_prior_weights(),
        national=load_national(),
        models=models,
        inference=inference,
        clock=partial(datetime.now, UTC),
    )


def _tell_failure(loading: Future[LoadedModel]) -> None:
    """Log why the model isn't there; whoever asks for it tries again and gets the error."""
    if error := loading.exception():
        logger.error("the model could not be loaded at the start", exc_info=error)
