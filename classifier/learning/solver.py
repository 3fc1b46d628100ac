"""Penalised multinomial logistic regression, fast enough to be run after a confirmation.

L-BFGS, made quick in two ways. The weights are sought in the span of some photos (the representer
theorem says that the span of all holds the best ones; many photos are spanned nearly as well by
`MOST` of them), and steps are taken in coordinates in which the curvature at the start is about 1
in every direction.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from classifier.learning.confirmation import Floats
from classifier.learning.head import Single

MOST = 320  # photos that span the weights
ROUNDS = 40  # of L-BFGS, at most
TOLERANCE = 6e-3  # of the gradient in the search's coordinates, per root of the photos
_JITTER = 1e-5  # repeats of one photo make a Gram matrix singular


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """The confirmations as arrays: n photos, D features, C categories."""

    units: Single  # (n, D) unit embeddings
    offsets: Single  # (n, C) logits before learning
    labels: NDArray[np.int64]  # (n,)
    weights: Single  # (n,) above 0


def solve(
    problem: Problem,
    penalty: float,
    bias_penalty: float,
    *,
    first: tuple[Single, Single] | None = None,
) -> tuple[Single, Single]:
    """Return the weights (C, D) and bias (C,) that minimise the penalised loss.

    The search starts from `first`, a pair like the result, or else from zero.
    """
    basis, x = _coordinates(problem.units)  # (m, D) or None, (n, m)
    scale = np.float32(np.sqrt(penalty / bias_penalty))  # the bias is one more feature
    x = np.concatenate([x, np.full((len(x), 1), scale, dtype=np.float32)], axis=1)
    w = np.zeros((problem.offsets.shape[1], x.shape[1]), dtype=np.float32)
    if first is not None:
        w[:, :-1] = first[0] if basis is None else first[0] @ basis.T
        w[:, -1] = first[1] / scale
    spread, back = _spread(x, w, problem, penalty)
    found = scipy.optimize.minimize(
        _objective(x, problem, penalty, spread),
        (w @ back).astype(np.float64).ravel(),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": ROUNDS, "gtol": TOLERANCE * np.sqrt(len(x)), "ftol": 0.0},
    ).x.reshape(w.shape)
    w = found.astype(np.float32) @ spread
    weights = w[:, :-1]
    return weights if basis is None else weights @ basis, w[:, -1] * scale


def loss(w: Single, x: Single, problem: Problem, penalty: float) -> tuple[float, Single]:
    """Return the penalised loss of weights (C, m) on features (n, m), and its gradient (C, m)."""
    p = problem.offsets + x @ w.T
    p -= p.max(axis=1, keepdims=True)
    rows = np.arange(len(p))
    right = p[rows, problem.labels]
    np.exp(p, out=p)
    total = p.sum(axis=1)
    value = float(problem.weights @ (np.log(total) - right).astype(np.float64))
    p *= (problem.weights / total)[:, None]
    p[rows, problem.labels] -= problem.weights
    value += 0.5 * penalty * float(np.vdot(w, w))
    return value, p.T @ x + np.float32(penalty) * w


def _coordinates(units: Single) -> tuple[Single | None, Single]:
    """Return orthonormal rows (m, D) that span photos, and all photos in their terms (n, m).

    Where there are few features, no rows and the photos as they are.
    """
    n, width = units.shape
    if width <= MOST:
        return None, units
    chosen = units[np.linspace(0, n - 1, MOST).astype(int)] if n > MOST else units
    gram = (chosen @ chosen.T).astype(np.float64)
    gram[np.diag_indices(len(gram))] += _JITTER
    factor = np.linalg.cholesky(gram).astype(np.float32)
    basis = scipy.linalg.solve_triangular(factor, chosen, lower=True, check_finite=False)
    return basis, factor if n <= MOST else units @ basis.T


def _spread(x: Single, w: Single, problem: Problem, penalty: float) -> tuple[Single, Single]:
    """Return (m, m) matrices from the search's coordinates to weights, and back.

    The curvature of the loss in a category's weights is `sum_i w_i p_i (1 - p_i) x_i x_i'` plus
    the penalty. Its mean over categories at the start serves for all.
    """
    p = problem.offsets + x @ w.T
    p = np.exp(p - p.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    bent = problem.weights * (1.0 - np.square(p).sum(axis=1)) / p.shape[1]
    root = x * np.sqrt(bent)[:, None]
    curvature = (root.T @ root).astype(np.float64)
    curvature[np.diag_indices(len(curvature))] += penalty
    factor = np.linalg.cholesky(curvature)
    spread = scipy.linalg.solve_triangular(
        factor, np.eye(len(factor)), lower=True, check_finite=False
    )
    return spread.astype(np.float32), factor.astype(np.float32)


def _objective(
    x: Single, problem: Problem, penalty: float, spread: Single
) -> Callable[[Floats], tuple[float, Floats]]:
    def objective(flat: Floats) -> tuple[float, Floats]:
        v = flat.reshape(-1, len(spread)).astype(np.float32)
        value, slope = loss(v @ spread, x, problem, penalty)
        return value, (slope @ spread.T).astype(np.float64).ravel()

    return objective
