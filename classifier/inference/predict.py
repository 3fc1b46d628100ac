"""A photograph to ranked forms."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.inference.bundle import Bundle
from classifier.inference.photo import Photo
from classifier.inference.preprocess import view_probabilities, views_of
from classifier.rules.suggestion_parts import Ranked


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """Forms by falling probability, summing to 1; embedding float32 (D,); seconds taken."""

    forms: tuple[Ranked, ...]
    embedding: NDArray[np.float32]
    seconds: float


class Predictor:
    """Runs a bundle on photographs; may be shared between threads."""

    def __init__(self, bundle: Bundle) -> None:
        self.bundle = bundle

    def predict(self, photo: Photo) -> Prediction:
        """Return the prediction for one photograph."""
        began = time.perf_counter()
        seen = [self._look(view) for view in views_of(photo.image, self.bundle.preprocessing)]
        logits, embeddings = (np.concatenate(each) for each in zip(*seen, strict=True))
        probabilities = view_probabilities(logits, self.bundle.temperature)  # (v, F) -> (F,)
        return Prediction(
            _ranked(self.bundle.labels, probabilities),
            embeddings.mean(axis=0).astype(np.float32),
            time.perf_counter() - began,
        )

    def predict_many(self, photos: Iterable[Photo]) -> list[Prediction]:
        """Return a prediction for each photograph, one after the other."""
        return [self.predict(photo) for photo in photos]

    def _look(self, view: NDArray[np.float32]) -> list[NDArray[np.float32]]:
        """Return logits (1, F) and embedding (1, D) of one view (1, 3, S, S).

        A batch of views would be no quicker on one thread, and hold its memory for each of them.
        """
        network = self.bundle.manifest.network
        feeds = {network.input: view}
        return self.bundle.session.run([network.form_logits, network.embedding], feeds)


def _ranked(labels: tuple[str, ...], probabilities: NDArray[np.float64]) -> tuple[Ranked, ...]:
    order = np.argsort(-probabilities, kind="stable")
    return tuple(Ranked(labels[index], float(probabilities[index])) for index in order)
