"""Prequential score: each photo is predicted before it is learned from, so nothing flatters.

The shipped and the learned probabilities of the confirmed category are kept for every
confirmation, in order. Learning is trusted until the shipped model has been clearly better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from classifier.learning.confirmation import Floats

CLIP = 2.0  # nats: no single photo, however odd, may decide
ENOUGH = 8.0  # nats by which one must have been better before the other is left


@dataclass(frozen=True, slots=True)
class Judged:
    """One confirmation as it was predicted before anything was learned from it.

    Losses are `-log p` of the confirmed category in nats; a hit means that it led.
    """

    shipped_loss: float
    learned_loss: float
    shipped_hit: bool
    learned_hit: bool


def judge(shipped: Floats, learned: Floats, label: int) -> Judged:
    """Score both predictions (C,) of one photo whose category has the index `label`."""
    return Judged(
        float(-np.log(shipped[label])),
        float(-np.log(learned[label])),
        int(shipped.argmax()) == label,
        int(learned.argmax()) == label,
    )


@dataclass(frozen=True, slots=True)
class Prequential:
    """The score so far, confirmation by confirmation, in the order of the log."""

    judged: Sequence[Judged] = field(default=())

    def __len__(self) -> int:
        return len(self.judged)

    @property
    def shipped_losses(self) -> Floats:
        """Losses of the shipped model, nats, shape (n,)."""
        return np.array([each.shipped_loss for each in self.judged], dtype=np.float64)

    @property
    def learned_losses(self) -> Floats:
        """Losses of the learned head, nats, shape (n,)."""
        return np.array([each.learned_loss for each in self.judged], dtype=np.float64)

    @property
    def shipped_hits(self) -> Floats:
        """1 where the shipped model's first category was confirmed, else 0, shape (n,)."""
        return np.array([each.shipped_hit for each in self.judged], dtype=np.float64)

    @property
    def learned_hits(self) -> Floats:
        """1 where the learned head's first category was confirmed, else 0, shape (n,)."""
        return np.array([each.learned_hit for each in self.judged], dtype=np.float64)


def running_mean(values: Floats, window: int | None = None) -> Floats:
    """Return the mean of all values up to each, or of the last `window`: (n,) to (n,)."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    end = np.arange(1, len(values) + 1)
    begin = np.zeros_like(end) if window is None else np.maximum(end - window, 0)
    return np.asarray((total[end] - total[begin]) / (end - begin), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Trust:
    """Whether the learned head answers, and how far the evidence against that has come.

    A running sum of the learned loss minus the shipped one (each difference clipped to 2 nats,
    the sum never below 0) says how much worse learning has lately been. Above 8 nats the shipped
    model answers; learning goes on unseen, and answers again once the same sum the other way has
    passed 8. The two sums are Page's test for a change; the gap between them keeps the answers
    from flickering.

    References
    ----------
    E. S. Page, Continuous inspection schemes, Biometrika 41 (1954) 100-115.
    """

    learned: bool = True
    against: float = 0.0  # nats

    def after(self, judged: Judged) -> Trust:
        """Return the state after one more confirmation."""
        worse = judged.learned_loss - judged.shipped_loss
        worse = min(max(worse if self.learned else -worse, -CLIP), CLIP)
        against = max(0.0, self.against + worse)
        return Trust(not self.learned) if against > ENOUGH else Trust(self.learned, against)
