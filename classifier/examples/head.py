"""A linear head on embeddings, and its answers on pictures that it did not learn from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from classifier.examples.splits import fold_groups

Floats = NDArray[np.float64]
Progress = Callable[[int, int], None]
PENALTY = 0.01  # of squared weights on standardised features; common practice, no source
FOLDS = 5
_ROUNDS = 80
_STILL = 1e-3  # largest change of a probability's log-odds at which fitting ends


@dataclass(frozen=True, slots=True, eq=False)
class HeldOut:
    """Answers of heads that did not learn from the picture asked.

    `names` are the labels in order, `p` (n, K) probabilities with rows summing to 1, `judged` (n,)
    whether the picture's own label was there to be learned: one that lies in a single group, or in
    a single fold, can't be confirmed or doubted by the others.
    """

    names: list[str]
    p: Floats
    judged: NDArray[np.bool_]


def held_out_probabilities(
    embeddings: NDArray[np.float32],
    labels: Sequence[str],
    groups: Sequence[str],
    *,
    folds: int = FOLDS,
    progress: Progress | None = None,
) -> HeldOut:
    """Ask, for each picture, a head that learned from pictures of other groups only.

    Parameters
    ----------
    embeddings:
        (n, d) features.
    labels, groups:
        Label and group of each picture.
    folds:
        How many heads share the work; fewer where there are fewer groups.

    Raises
    ------
    ValueError
        Fewer than two groups or two labels.
    """
    names = sorted(set(labels))
    folds = min(folds, len(set(groups)))
    if folds < 2 or len(names) < 2:
        raise ValueError(
            f"{len(set(groups))} groups and {len(names)} labels: cross-validation needs two of each"
        )
    number = {name: i for i, name in enumerate(names)}
    y = np.array([number[label] for label in labels])
    fold = np.array(fold_groups(groups, labels, folds))
    found = np.zeros((len(y), len(names)))
    judged = np.zeros(len(y), dtype=bool)
    for each in range(folds):
        learn, ask = fold != each, fold == each
        weight, bias = fit_head(embeddings[learn], y[learn], len(names))
        judged[ask] = np.isin(y[ask], y[learn])
        found[ask] = softmax(embeddings[ask].astype(np.float64) @ weight.T + bias)
        if progress is not None:
            progress(each + 1, folds)
    return HeldOut(names, found, judged)


def fit_head(
    embeddings: NDArray[np.float32], labels: NDArray[np.int64], classes: int
) -> tuple[Floats, Floats]:
    """Fit a multinomial logistic regression with a squared penalty on standardised features.

    Minimises mean cross-entropy + PENALTY/2 |W|^2 (the bias is free) by steps with a fixed
    curvature that bounds the true one from above (D. Böhning, Annals of the Institute of
    Statistical Mathematics 44 (1992) 197-200), sped up by Nesterov's momentum with restarts.
    The problem is convex and starts from zero: the same input gives the same result.

    Returns
    -------
    Weight (classes, d) and bias (classes,) for the features as given.
    """
    mean = embeddings.mean(axis=0, dtype=np.float64)
    spread = embeddings.std(axis=0, dtype=np.float64).clip(min=1e-3)
    scaled = (embeddings - mean) / spread
    # Fewer pictures than features: the answer lies in the span of the pictures, which is smaller.
    turn = np.linalg.qr(scaled.T)[0] if len(scaled) < scaled.shape[1] else None
    if turn is not None:
        scaled = scaled @ turn
    n, d = scaled.shape
    x = np.concatenate([scaled, np.ones((n, 1))], axis=1).astype(np.float32)
    wanted = np.eye(classes, dtype=np.float32)[labels]
    pull = np.full(d + 1, PENALTY)
    pull[-1] = 1e-4  # keeps the bias of a label without pictures finite
    curvature = 0.5 * (x.T @ x).astype(np.float64) / n + np.diag(pull)
    step = np.linalg.inv(curvature).astype(np.float32)
    pull = pull.astype(np.float32)[:, None]
    w = ahead = np.zeros((d + 1, classes), dtype=np.float32)
    momentum = 1.0
    for _ in range(_ROUNDS):
        gradient = x.T @ (softmax(x @ ahead) - wanted) / n + pull * ahead
        new = ahead - step @ gradient
        # Restart where momentum would lead uphill (O'Donoghue, Candes, 2015).
        if float((gradient * (new - w)).sum()) > 0:
            momentum = 1.0
        following = (1 + np.sqrt(1 + 4 * momentum**2)) / 2
        ahead = new + np.float32((momentum - 1) / following) * (new - w)
        moved = float(np.abs(new - w).max())
        w, momentum = new, following
        if moved < _STILL / max(1.0, float(np.sqrt(d))):
            break
    found = w[:-1].astype(np.float64)
    if turn is not None:
        found = turn @ found
    weight = (found / spread[:, None]).T
    return weight, w[-1].astype(np.float64) - weight @ mean


def softmax(logits: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return probabilities of each row."""
    raised = np.exp(logits - logits.max(axis=1, keepdims=True))
    shares: NDArray[np.floating] = raised / raised.sum(axis=1, keepdims=True)
    return shares
