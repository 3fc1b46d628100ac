"""Labels that a model which did not learn from them doubts: confident learning.

C. Northcutt, L. Jiang, I. Chuang, Confident Learning: Estimating Uncertainty in Dataset Labels,
Journal of Artificial Intelligence Research 70 (2021) 1373-1411. The probabilities must be
out-of-sample: a head that saw the label repeats it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Doubt:
    """One doubted label: row, label proposed instead, both probabilities, and their difference."""

    row: int
    proposed: int
    p_given: float
    p_proposed: float

    @property
    def score(self) -> float:
        """How strongly it is doubted, 0 to 1."""
        return self.p_proposed - self.p_given


def thresholds(labels: Whole, p: Floats) -> Floats:
    """Return, for each label, its mean probability among the pictures that have it.

    A label that no picture has gets infinity: nothing can confidently be of it.
    """
    own = p[np.arange(len(labels)), labels]
    times = np.bincount(labels, minlength=p.shape[1])
    total = np.bincount(labels, weights=own, minlength=p.shape[1])
    mean: Floats = np.divide(total, times, out=np.full(p.shape[1], np.inf), where=times > 0)
    return mean


def confident_labels(labels: Whole, p: Floats) -> Whole:
    """Return the label that each picture is confidently of, -1 where it is of none.

    It is the likeliest of those whose probability reaches the label's threshold.
    """
    reached = np.where(p >= thresholds(labels, p) - 1e-9, p, -1.0)
    best = reached.argmax(axis=1)
    return np.where(reached.max(axis=1) >= 0, best, -1)


def find_doubts(
    labels: Whole, p: Floats, *, judged: NDArray[np.bool_] | None = None
) -> list[Doubt]:
    """Return the pictures confidently of another label, the most doubted first.

    Parameters
    ----------
    labels:
        (n,) given labels, 0 to K - 1.
    p:
        (n, K) out-of-sample probabilities, rows summing to 1.
    judged:
        (n,) whether a picture's label could be learned from others; one that could not is left
        out, also from the labels' thresholds. None: all could.
    """
    rows = np.arange(len(labels)) if judged is None else np.flatnonzero(judged)
    labels, p = labels[rows], p[rows]
    confident = confident_labels(labels, p)
    # A picture whose own label is the likeliest is no reason for doubt, whatever else it reaches.
    doubted = (confident >= 0) & (confident != labels) & (p.argmax(axis=1) != labels)
    found = [
        Doubt(
            row=int(rows[row]),
            proposed=int(confident[row]),
            p_given=float(p[row, labels[row]]),
            p_proposed=float(p[row, confident[row]]),
        )
        for row in np.flatnonzero(doubted)
    ]
    return sorted(found, key=lambda doubt: (-doubt.score, doubt.row))
