"""Pictures in memory: decoded once, kept as bytes, cropped again at every step."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from PIL import Image

from classifier.errors import TallytareError
from classifier.inference.photo import decode_photo
from classifier.inference.preprocess import Preprocessing, square_view
from training.pictures.notes import bar

CANVAS = 320  # px, longest side kept for training crops


@dataclass(frozen=True, slots=True)
class Canvases:
    """Pictures laid into the top left corner of equal squares.

    `pixels` is uint8 of shape (n, 3, CANVAS, CANVAS), `extents` float32 of shape (n, 2): the
    height and width in pixels that each picture covers.
    """

    pixels: torch.Tensor
    extents: torch.Tensor

    def to(self, device: torch.device) -> Canvases:
        """Copy to a device."""
        return Canvases(self.pixels.to(device), self.extents.to(device))

    def pick(self, rows: torch.Tensor) -> Canvases:
        """Return the pictures of some rows."""
        return Canvases(self.pixels[rows], self.extents[rows])


def _canvas(path: Path) -> np.ndarray | str:
    """One picture as (3, h, w) bytes, or the reason why it can't be read."""
    try:
        rgb = decode_photo(path.read_bytes()).rgb
    except OSError as error:
        return error.strerror or str(error)
    except (TallytareError, ValueError) as error:  # ValueError: a NUL in the path
        return str(error)
    image = Image.fromarray(rgb)
    image.thumbnail((CANVAS, CANVAS), Image.Resampling.LANCZOS)
    return np.ascontiguousarray(np.asarray(image).transpose(2, 0, 1))


def load_canvases(
    paths: Sequence[Path], *, workers: int = 2
) -> tuple[Canvases, list[int], list[str]]:
    """Decode pictures for training.

    Returns
    -------
    The canvases of the readable pictures, their indices in `paths`, and a sentence for each
    unreadable one. Nothing unreadable stops a run.
    """
    arrays, kept, refused = [], [], []
    with ProcessPoolExecutor(workers) as pool:
        results = pool.map(_canvas, paths, chunksize=32)
        for index, result in enumerate(bar(results, len(paths), "decoding")):
            if isinstance(result, str):
                refused.append(f"{paths[index]}: {result}")
            else:
                kept.append(index)
                arrays.append(result)
    pixels = torch.zeros((len(arrays), 3, CANVAS, CANVAS), dtype=torch.uint8)
    extents = torch.zeros((len(arrays), 2))
    for row, array in enumerate(arrays):
        _, height, width = array.shape
        pixels[row, :, :height, :width] = torch.from_numpy(array)
        extents[row] = torch.tensor([height, width])
    return Canvases(pixels, extents), kept, refused


def _views(job: tuple[Path, Preprocessing]) -> np.ndarray:
    path, preprocessing = job
    rgb = decode_photo(path.read_bytes()).rgb
    size = preprocessing.size
    return np.stack([square_view(rgb, view, size) for view in preprocessing.views])


def load_views(
    paths: Sequence[Path], preprocessing: Preprocessing, *, workers: int = 2
) -> torch.Tensor:
    """Cut pictures exactly as the shipped network does: uint8 of shape (n, views, S, S, 3)."""
    size, views = preprocessing.size, len(preprocessing.views)
    result = torch.empty((len(paths), views, size, size, 3), dtype=torch.uint8)
    with ProcessPoolExecutor(workers) as pool:
        jobs = [(path, preprocessing) for path in paths]
        rows = pool.map(_views, jobs, chunksize=16)
        for row, cut in enumerate(bar(rows, len(jobs), "cutting")):
            result[row] = torch.from_numpy(cut)
    return result
