"""The model that answers: loaded again when another bundle is promoted, while the service runs."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from classifier.errors import BundleError
from classifier.rules.suggestion_parts import Ranked
from service.store.rows import ModelRecord

logger = logging.getLogger("tallytare")


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


@dataclass(frozen=True, slots=True)
class LoadedModel:
    """A predictor with what the rules need of its bundle, or why there is none."""

    predictor: PredictorProtocol | None
    record: ModelRecord | None
    problem: str


@dataclass(frozen=True, slots=True)
class RegisteredBundle:
    """A bundle that can be promoted: `name` is its folder, `title` its own name and version."""

    name: str
    title: str
    shipped: bool
    problem: str = ""


class Registry(Protocol):
    """Bundles on disk; `load` and `install` check hashes, shapes and categories."""

    def load(self, name: str, /) -> LoadedModel:
        """Load an installed bundle, or the settings' one for ""; raises BundleError."""

    def install(self, wanted: str, /, *, paths: bool) -> str:
        """Copy a bundle among those installed and return its folder.

        `wanted` is a shipped or an installed name or, if `paths`, a folder anywhere. Raises
        BundleError, UnknownIdError.
        """

    def bundles(self) -> tuple[RegisteredBundle, ...]:
        """Return what is installed, then what ships."""


class ModelCache:
    """Holds the loaded model; may be shared between threads.

    `promoted` says which bundle should answer; it is asked before each photo. A bundle that can't
    be loaded is tried once: what answered before goes on, and `trouble` says why.
    """

    def __init__(self, registry: Registry, promoted: Callable[[], str]) -> None:
        self.registry = registry
        self._promoted = promoted
        self._loading = threading.Lock()
        self._name: str | None = None
        self._answering = LoadedModel(None, None, "")
        self.trouble = ""

    @property
    def answering(self) -> LoadedModel:
        """The model that answered last."""
        if self._name is None:
            self.newest()
        return self._answering

    def newest(self) -> LoadedModel:
        """Take up what was promoted since, and return the model that answers now.

        While one thread loads, the others answer with what there is.

        Raises StorageError.
        """
        wanted = self._promoted()
        if wanted == self._name or not self._loading.acquire(blocking=self._name is None):
            return self._answering
        try:
            if wanted != self._name:
                self._take_up(wanted)
        finally:
            self._loading.release()
        return self._answering

    def _take_up(self, wanted: str) -> None:
        try:
            self._answering = self.registry.load(wanted)
            self.trouble = ""
        except BundleError as error:
            self.trouble = f"the promoted bundle {wanted} can't be used: {error.message}"
            logger.warning("%s", self.trouble)
            if self._name is None:  # the service has just started: the settings' bundle answers
                self._answering = self.registry.load("")
        self._name = wanted
