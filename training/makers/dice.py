"""Random choices of one picture, some of which keep a part for held-out pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

T = TypeVar("T")
_EVERY = 4  # one option of so many is kept for held-out pictures


class Dice:
    """A seeded generator; `held` pictures draw from options that training never sees.

    Seeds of the two halves differ, too. `apart` and `between_apart` split what they choose from,
    the other draws are shared: a cup stays a cup.
    """

    def __init__(self, seed: Sequence[int], *, held: bool = False) -> None:
        self.held = held
        self.rng = np.random.default_rng([int(held), *seed])

    def between(self, low: float, high: float) -> float:
        """Draw evenly from an interval."""
        return float(self.rng.uniform(low, high))

    def between_apart(self, low: float, high: float) -> float:
        """Draw from an interval whose eight slices are split: two for held-out pictures."""
        slices = (2, 6) if self.held else (0, 1, 3, 4, 5, 7)
        return low + (high - low) * (self.pick(slices) + self.between(0, 1)) / 8

    def whole(self, low: int, high: int) -> int:
        """Draw a whole number from low to high, both included."""
        return int(self.rng.integers(low, high + 1))

    def chance(self, share: float) -> bool:
        """Return True in `share` of the draws."""
        return bool(self.rng.uniform() < share)

    def pick(self, options: Sequence[T], weights: Sequence[float] | None = None) -> T:
        """Draw one option."""
        if weights is None:
            return options[int(self.rng.integers(len(options)))]
        shares = np.asarray(weights, float)
        return options[int(self.rng.choice(len(options), p=shares / shares.sum()))]

    def apart(self, options: dict[T, float]) -> T:
        """Draw one option of this half by weight; needs at least four."""
        mine = [
            (option, weight)
            for i, (option, weight) in enumerate(options.items())
            if (i % _EVERY == _EVERY - 1) == self.held
        ]
        return self.pick([o for o, _ in mine], [w for _, w in mine])

    def colour(
        self,
        hue: tuple[float, float] = (0, 1),
        strength: tuple[float, float] = (0.3, 0.9),
        value: tuple[float, float] = (0.2, 0.95),
    ) -> np.ndarray:
        """Draw a colour, sRGB 0 to 1, from ranges of hue, saturation and value (0 to 1)."""
        h = (self.between(*hue) % 1) * 6
        s, v = self.between(*strength), self.between(*value)
        ramp = np.clip(np.abs(h - np.array([3.0, 2.0, 4.0])) * [1, -1, -1] + [-1, 2, 2], 0, 1)
        return (v * (1 - s + s * ramp)).astype(np.float32)

    def grey(self, low: float, high: float, tint: float = 0.03) -> np.ndarray:
        """Draw a nearly neutral colour, sRGB 0 to 1."""
        value = self.between(low, high) + self.rng.uniform(-tint, tint, 3)
        return np.clip(value, 0, 1).astype(np.float32)
