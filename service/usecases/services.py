"""What every use case is given: the log, the photos, the rules and, if there is one, a model."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Protocol

from classifier.domain.categories import Categories
from classifier.domain.errors import UnknownIdError
from classifier.domain.item_weights import PriorWeights
from classifier.domain.national import National
from classifier.domain.programme import Programme
from classifier.domain.suggestion import Ranked
from service.images.names import PhotoStore
from service.images.thumbs import Thumbs
from service.settings import Settings
from service.store.log import Log
from service.store.rows import ModelRecord
from service.usecases.learning_desk import LearningDesk


class PredictionLike(Protocol):
    """Ranked forms of one photo and its embedding (a float vector)."""

    @property
    def forms(self) -> Sequence[Ranked]:
        """Forms, the most probable first; probabilities sum to 1."""

    @property
    def embedding(self) -> Any:
        """Array of floats with `astype` and `tobytes`."""


class PredictorProtocol(Protocol):
    """A model that looks at a decoded photo."""

    def predict(self, photo: Any, /) -> PredictionLike:
        """Return the ranked forms of `photo`."""


class PhotoReader(Protocol):
    """Turns bytes from outside into something safe, or refuses them."""

    def read(self, data: bytes, /, max_side: int) -> tuple[Any, bytes]:
        """Return what the predictor takes, and a JPEG without metadata to keep.

        Its longest side has at most `max_side` pixels. Both come from one decoding.
        """


@dataclass(frozen=True, slots=True)
class Services:
    """The collaborators of the use cases; `predictor` is None when no bundle could be read."""

    settings: Settings
    log: Log
    photos: PhotoStore
    reader: PhotoReader
    categories: Categories
    programmes: Mapping[str, Programme]
    priors: PriorWeights | None
    national: National | None
    predictor: PredictorProtocol | None
    model: ModelRecord | None
    model_problem: str
    inference: Executor
    clock: Callable[[], datetime]
    learning: LearningDesk = field(default_factory=LearningDesk)

    @property
    def thumbs(self) -> Thumbs:
        """Small pictures of the photos, beside them in the data folder."""
        return Thumbs(self.settings.data_dir / "thumbs", self.photos)

    def programme(self, programme_id: str) -> Programme:
        """Return a programme.

        Raises UnknownIdError when none bears the id.
        """
        programme = self.programmes.get(programme_id)
        if programme is None:
            known = ", ".join(sorted(self.programmes))
            raise UnknownIdError(
                f"there is no programme {programme_id!r}: choose one of {known}, "
                "or put its file back",
                programme=programme_id,
                known=sorted(self.programmes),
            )
        return programme
