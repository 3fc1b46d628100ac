"""Invented batches of everyday items: unequal items, unequal batches, unequal counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Floats = np.ndarray[tuple[int, ...], np.dtype[np.float64]]


@dataclass(frozen=True)
class Kind:
    """Grams of an item, spread of its logarithm, that of whole batches, and usual count."""

    grams: float
    item_sigma: float
    batch_sigma: float
    count: float


KINDS = {
    "cans": Kind(15, 0.15, 0.05, 20),
    "pet": Kind(25, 0.5, 0.15, 15),
    "glass": Kind(300, 0.5, 0.15, 8),
    "film": Kind(8, 1.0, 0.2, 30),
    "textiles": Kind(250, 1.0, 0.3, 5),
    "electronics": Kind(400, 1.2, 0.2, 2),
}


def draw_batches(generator: np.random.Generator, kind: Kind, n: int) -> tuple[Floats, Floats]:
    """Return grams and counts of n batches."""
    counts = 1 + generator.poisson(generator.gamma(2, (kind.count - 1) / 2, n))
    items = generator.standard_normal(int(counts.sum()))
    weights = np.exp(kind.item_sigma * items - kind.item_sigma**2 / 2)
    of_batch = np.add.reduceat(weights, np.concatenate(([0], counts.cumsum()[:-1])))
    batch = kind.batch_sigma * generator.standard_normal(n) - kind.batch_sigma**2 / 2
    return np.asarray(kind.grams * np.exp(batch) * of_batch), counts.astype(np.float64)
