"""One confirmation learned by itself, between two fits of the whole log."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy
from numpy.typing import NDArray

from classifier.learning.confirmation import Floats
from classifier.learning.head import LearnedHead, Single, unit

STRENGTH = 4.0  # nats that a photo's own logits move at most, twice that between two categories
_ROUNDS = 20  # of Newton's method, which needs about five


def nudge(
    head: LearnedHead,
    embedding: NDArray[np.floating],
    shipped: Floats,
    label: int,
    centre: Single,
    *,
    strength: float = STRENGTH,
) -> LearnedHead:
    """Return the head after one implicit gradient step on one confirmed photo.

    The step solves `min loss(photo) + |move of its logits|^2 / (2 strength)`. It acts along what
    sets the photo apart from the `centre` (D,) of those seen, so that the same object is known
    again and photos that have nothing in common with it are left alone.

    References
    ----------
    P. Toulis, E. M. Airoldi, Asymptotic and finite-sample properties of estimators based on
    stochastic gradients, Annals of Statistics 45 (2017) 1694-1727: implicit steps never overshoot.
    """
    z = unit(embedding[None])[0]
    apart = z - centre
    reach = float(apart @ apart)
    if reach < 1e-6:  # nothing sets it apart from the average photo
        return replace(head, confirmations=head.confirmations + 1)
    move = implicit_move(np.log(shipped) + head.weights @ z + head.bias, label, strength)
    weights = head.weights + np.outer(move, apart / reach).astype(np.float32)
    bias = head.bias - (move * float(apart @ centre) / reach).astype(np.float32)
    return replace(head, weights=weights, bias=bias, confirmations=head.confirmations + 1)


def implicit_move(logits: Floats, label: int, strength: float) -> Floats:
    """Solve `move = strength * (e_label - softmax(logits + move))` for the move (C,)."""
    target = np.zeros(len(logits))
    target[label] = 1.0
    move = np.zeros(len(logits))
    for _ in range(_ROUNDS):
        p = scipy.special.softmax(logits + move)
        gap = move - strength * (target - p)
        slope = np.eye(len(p)) + strength * (np.diag(p) - np.outer(p, p))
        step = np.linalg.solve(slope, gap)
        move -= step
        if np.abs(step).max() < 1e-9:
            break
    return np.asarray(move, dtype=np.float64)
