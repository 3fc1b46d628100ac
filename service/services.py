"""What every use case is given: the log, the photos, the rules and, if there is one, a model."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol

from classifier.errors import UnknownIdError
from classifier.report.item_weights import PriorWeights
from classifier.report.national import National
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from service.head_cache import HeadCache
from service.model_cache import ModelCache, PredictorProtocol
from service.photos.names import PhotoStore
from service.photos.thumbs import Thumbs
from service.settings import Settings
from service.store.log import Log
from service.store.rows import ModelRecord

_LEARNING_ENDS_S = 5.0  # it stops at its next confirmation


class PhotoReader(Protocol):
    """Turns bytes from outside into something safe, or refuses them."""

    def read(self, data: bytes, /, max_side: int) -> tuple[Any, bytes]:
        """Return what the predictor takes, and a JPEG without metadata to keep.

        Its longest side has at most `max_side` pixels. Both come from one decoding.
        """


@dataclass(frozen=True, slots=True)
class Services:
    """The collaborators of the use cases."""

    settings: Settings
    log: Log
    photos: PhotoStore
    reader: PhotoReader
    categories: Categories
    programmes: Mapping[str, Programme]
    priors: PriorWeights | None
    national: National | None
    models: ModelCache
    inference: Executor
    clock: Callable[[], datetime]
    learning: HeadCache = field(default_factory=HeadCache)

    @property
    def predictor(self) -> PredictorProtocol | None:
        """The model that answered last, None when no bundle could be read."""
        return self.models.answering.predictor

    @property
    def model(self) -> ModelRecord | None:
        """What the rules need of that model."""
        return self.models.answering.record

    @property
    def model_problem(self) -> str:
        """Why there is no model; empty when there is one."""
        return self.models.answering.problem

    @property
    def thumbs(self) -> Thumbs:
        """Small pictures of the photos, beside them in the data folder."""
        return Thumbs(self.settings.data_dir / "thumbs", self.photos)

    def close(self) -> None:
        """Let go of everything; what is learned in the background first, since it reads the log."""
        self.inference.shutdown(wait=False)
        self.learning.close()
        self.learning.settle(_LEARNING_ENDS_S)
        self.log.close()

    def programme(self, programme_id: str) -> Programme:
        """Return a programme.

        Raises UnknownIdError when none has the id.
        """
        programme = self.programmes.get(programme_id)
        if programme is None:
            known = ", ".join(sorted(self.programmes))
            raise UnknownIdError(
                f"there is no programme {programme_id!r}: choose one of {known}, "
                "or put its file back",
                field="programme_id",
                programme=programme_id,
                known=sorted(self.programmes),
            )
        return programme
