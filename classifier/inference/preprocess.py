"""From an RGB picture to the network's input, and from its output to probabilities.

Training and use share this module, so that a network meets in use what it was trained on. Only
numpy and Pillow are needed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

WHOLE_FRAME = 0.0
_GAP = 2.0  # large pictures are first reduced by a whole number to at least twice the size wanted


@dataclass(frozen=True, slots=True)
class Preprocessing:
    """How a picture is cut, resized and scaled for a network.

    `size` is the side of the square input in pixels. `mean` and `std` are of channels in 0..1.
    Each view is a fraction: 1.0 is the largest centred square, 0.6 a centred square of 0.6 times
    the shorter side, and 0.0 (`WHOLE_FRAME`) the whole picture, padded to a square with the mean
    colour of its border.
    """

    size: int
    mean: tuple[float, float, float] = (0.5, 0.5, 0.5)
    std: tuple[float, float, float] = (0.5, 0.5, 0.5)
    views: tuple[float, ...] = (1.0,)
    interpolation: str = "bicubic"

    def __post_init__(self) -> None:
        """Refuse values that no network can have been trained with."""
        if not 16 <= self.size <= 1024:
            raise ValueError(f"size {self.size} is outside 16..1024 pixels")
        if self.interpolation != "bicubic":
            raise ValueError(f"interpolation {self.interpolation!r} is not 'bicubic'")
        if len(self.mean) != 3 or len(self.std) != 3:
            raise ValueError("mean and std must have three numbers, for red, green and blue")
        if not all(0.0 <= mean <= 1.0 for mean in self.mean):
            raise ValueError(f"mean {list(self.mean)} is outside 0..1")
        if not all(0.0 < std <= 1.0 for std in self.std):
            raise ValueError(f"std {list(self.std)} is outside 0 (excluded)..1")
        if not self.views or not all(0.0 <= view <= 1.0 for view in self.views):
            raise ValueError(f"views {list(self.views)} must be one or more fractions in 0..1")


def views_of(image: Image.Image, preprocessing: Preprocessing) -> Iterator[NDArray[np.float32]]:
    """Give the network's input for each view of a picture in mode RGB, (1, 3, S, S) each."""
    for view in preprocessing.views:
        yield normalised(_square(image, view, preprocessing.size)[None], preprocessing)


def square_view(rgb: NDArray[np.uint8], view: float, size: int) -> NDArray[np.uint8]:
    """Return one square view of a picture: (H, W, 3) → (size, size, 3)."""
    return _square(Image.fromarray(rgb), view, size)


def _square(image: Image.Image, view: float, size: int) -> NDArray[np.uint8]:
    if view == WHOLE_FRAME:
        return _letter_boxed(image, size)
    side = max(1, round(view * min(image.size)))
    left, top = (image.width - side) // 2, (image.height - side) // 2
    # Cut first: resize(box=...) would let pixels outside the box bleed in at its edge.
    cut = image.crop((left, top, left + side, top + side))
    return np.asarray(cut.resize((size, size), Image.Resampling.BICUBIC, reducing_gap=_GAP))


def normalised(views: NDArray[np.uint8], preprocessing: Preprocessing) -> NDArray[np.float32]:
    """Return `(x / 255 - mean) / std`, channels first: (n, S, S, 3) → (n, 3, S, S)."""
    mean = np.asarray(preprocessing.mean, dtype=np.float32)[:, None, None]
    std = np.asarray(preprocessing.std, dtype=np.float32)[:, None, None]
    # Turned while it is still bytes, a quarter of the memory to move.
    scaled = np.ascontiguousarray(views.transpose(0, 3, 1, 2)).astype(np.float32)
    scaled *= 1.0 / (255.0 * std)
    scaled -= mean / std
    return scaled


def view_probabilities(logits: NDArray[np.floating], temperature: float) -> NDArray[np.float64]:
    """Return the mean over views of `softmax(logits / temperature)`: (..., v, F) → (..., F)."""
    scaled = logits.astype(np.float64) / temperature
    scaled -= scaled.max(axis=-1, keepdims=True)
    raised = np.exp(scaled)
    softmax = raised / raised.sum(axis=-1, keepdims=True)
    return np.asarray(softmax.mean(axis=-2), dtype=np.float64)


def _letter_boxed(image: Image.Image, size: int) -> NDArray[np.uint8]:
    scale = size / max(image.size)
    width, height = (max(1, round(side * scale)) for side in image.size)
    canvas = Image.new("RGB", (size, size), _border_mean(image))
    resized = image.resize((width, height), Image.Resampling.BICUBIC, reducing_gap=_GAP)
    canvas.paste(resized, ((size - width) // 2, (size - height) // 2))
    return np.asarray(canvas)


def _border_mean(image: Image.Image) -> tuple[int, int, int]:
    width, height = image.size
    boxes = [(0, 0, width, 1), (0, height - 1, width, height)]
    boxes += [(0, 1, 1, height - 1), (width - 1, 1, width, height - 1)] if height > 2 else []
    sides = [np.asarray(image.crop(box)).reshape(-1, 3) for box in boxes]
    red, green, blue = np.rint(np.concatenate(sides).mean(axis=0)).astype(int).tolist()
    return red, green, blue
