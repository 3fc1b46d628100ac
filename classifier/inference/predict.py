"""A photograph to ranked forms."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from classifier.domain.suggestion_parts import Ranked
from classifier.inference.bundle import Bundle
from classifier.inference.photo import Photo
from classifier.inference.preprocess import square_views, view_probabilities


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """Forms by falling probability, summing to 1; embedding float32 (D,); seconds taken."""

    forms: tuple[Ranked, ...]
    embedding: NDArray[np.float32]
    seconds: float


class Predictor:
    """Runs a bundle on photographs; may be shared between threads.

    `views` are looked at in place of the bundle's own: fewer are quicker and less often right.
    """

    def __init__(self, bundle: Bundle, *, views: tuple[float, ...] | None = None) -> None:
        self.bundle = bundle
        own = bundle.preprocessing
        self._preprocessing = own if views is None else replace(own, views=views)

    @property
    def views(self) -> tuple[float, ...]:
        """What is cut out of each photograph, as `Preprocessing` counts it."""
        return self._preprocessing.views

    def predict(self, photo: Photo) -> Prediction:
        """Return the prediction for one photograph."""
        return self.predict_many([photo])[0]

    def predict_many(self, photos: Sequence[Photo]) -> list[Prediction]:
        """Return a prediction for each photograph, run as one batch.

        The batch is held in memory: 0.6 MB for each view of 224 pixels. `seconds` is the time of
        the batch divided by its length.
        """
        if not photos:
            return []
        bundle, network = self.bundle, self.bundle.manifest.network
        began = time.perf_counter()
        views = [square_views(photo.rgb, self._preprocessing) for photo in photos]  # (v, 3, S, S)
        logits, embedding = bundle.session.run(
            [network.form_logits, network.embedding], {network.input: np.concatenate(views)}
        )  # (n * v, F), (n * v, D)
        probabilities = view_probabilities(
            logits.reshape(len(photos), -1, len(bundle.labels)), bundle.temperature
        )  # (n, F)
        embeddings = embedding.reshape(len(photos), -1, bundle.embedding_size).mean(axis=1)
        seconds = (time.perf_counter() - began) / len(photos)
        return [
            Prediction(_ranked(bundle.labels, p), e.astype(np.float32), seconds)
            for p, e in zip(probabilities, embeddings, strict=True)
        ]


def _ranked(labels: tuple[str, ...], probabilities: NDArray[np.float64]) -> tuple[Ranked, ...]:
    order = np.argsort(-probabilities, kind="stable")
    return tuple(Ranked(labels[index], float(probabilities[index])) for index in order)
