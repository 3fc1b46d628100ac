"""Stand-ins for what tests must control: the model, the clock, and ids that a page would make."""

from __future__ import annotations

import io
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from classifier.rules.suggestion_parts import Ranked, Thresholds
from service.bundles.registry import BundleRegistry
from service.model_cache import LoadedModel, ModelCache
from service.store.rows import ModelRecord

FORM_CATEGORIES: dict[str, dict[str, float]] = {
    "drink_can": {"aluminium_cans": 0.9, "steel_cans": 0.1},
    "food_can": {"steel_cans": 0.95, "aluminium_cans": 0.05},
    "corrugated_cardboard": {"corrugated_cardboard": 1.0},
    "clear_plastic_bottle": {"pet_bottles": 1.0},
    "plastic_tub_tray": {"rigid_plastics": 1.0},
    "beverage_carton": {"cartons": 1.0},
    "battery_electronics": {"batteries": 0.5, "electronics": 0.5},
    "food": {"food": 1.0},
    "non_item": {},
}


def model_record(version: str = "1.0.0") -> ModelRecord:
    """Return the rules of the fake model."""
    return ModelRecord(
        name="fake",
        version=version,
        form_categories=FORM_CATEGORIES,
        thresholds=Thresholds(route=0.7, stop=0.2, unsure=0.35, non_item=0.6),
    )


def fixed_model(model: LoadedModel) -> ModelCache:
    """Return a model cache whose model answers whatever is promoted."""
    registry = BundleRegistry(Path("nowhere"), start="", category_ids=frozenset(), given=model)
    return ModelCache(registry, str)


@dataclass(frozen=True)
class FakePrediction:
    """What the fake model answers."""

    forms: tuple[Ranked, ...]
    embedding: NDArray[np.float32]
    seconds: float = 0.001


@dataclass
class FakePredictor:
    """Answers what the test tells it to; remembers how many photos it saw."""

    forms: tuple[tuple[str, float], ...] = (("corrugated_cardboard", 0.9), ("food", 0.1))
    seen: int = 0
    before: Callable[[], None] | None = None
    """Called before each answer: lets a test fail or wait there."""
    embedding: tuple[float, ...] = tuple(np.linspace(0, 1, 8))

    def predict(self, photo: Any, /) -> FakePrediction:
        """Return the forms that are set."""
        del photo
        self.seen += 1
        if self.before is not None:
            self.before()
        forms = tuple(Ranked(form, p) for form, p in self.forms)
        return FakePrediction(forms, np.array(self.embedding, dtype=np.float32))


@dataclass
class FakeClock:
    """A clock that moves a second with each look, or as the test says."""

    now: datetime = field(default_factory=lambda: datetime(2026, 5, 1, 9, 0, tzinfo=UTC))
    step: timedelta = timedelta(seconds=1)

    def __call__(self) -> datetime:
        """Return the time and move on."""
        self.now += self.step
        return self.now


UNKNOWN_ID = "4f3c2b1a-0d9e-4c8b-a7f6-5e4d3c2b1a09"
"""An id that nothing has: the same in every process, as names of tests must be."""


def new_id() -> str:
    """Return an id as a page makes it."""
    return str(uuid.uuid4())


def jpeg(shade: int = 120, *, size: tuple[int, int] = (64, 48), location: bool = False) -> bytes:
    """Return a small photograph, with a location in its metadata if asked."""
    image = Image.new("RGB", size, (shade, shade // 2, 40))
    exif = Image.Exif()
    if location:
        exif[0x010F] = "SomeCamera"
        exif.get_ifd(0x8825)[1] = "N"
        exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
    out = io.BytesIO()
    image.save(out, "JPEG", exif=exif)
    return out.getvalue()
