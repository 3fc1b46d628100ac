"""Fitting the head: multinomial logistic regression around what the model already says.

For a photo with unit embedding z and shipped probabilities s, the learned logits are
`log s + W z + b`. Starting from W = 0, b = 0 (the shipped model), the head minimises

    sum_i w_i * -log p_i(chosen category) + penalty/2 * |W - W0|^2 + bias_penalty/2 * |b - b0|^2,

the penalised maximum likelihood (maximum a posteriori) with the start as the prior mean. The
problem is convex, so that the result does not depend on the order of the confirmations.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.optimize import minimize
from scipy.special import log_softmax

from classifier.domain.errors import UnknownIdError
from classifier.learning.confirmation import Confirmation, Floats
from classifier.learning.head import LearnedHead, Single, unit

_JITTER = 1e-5


@dataclass(frozen=True, slots=True)
class HeadOptions:
    """How strongly the head holds on to what the model says; chosen in training/replay.py."""

    penalty: float = 0.03  # of squared weights on unit embeddings
    bias_penalty: float = 1.0
    balance: float = 0.5  # 0: every confirmation counts the same; 1: every category does
    rounds: int = 60  # of L-BFGS, at most
    tolerance: float = 1e-4  # of the gradient, per confirmation


def fit_head(
    confirmations: Sequence[Confirmation],
    categories: Sequence[str],
    *,
    model: str = "",
    start: LearnedHead | None = None,
    guess: LearnedHead | None = None,
    options: HeadOptions | None = None,
) -> LearnedHead:
    """Fit the head on all confirmations.

    Parameters
    ----------
    confirmations : sequence of Confirmation
        At least one; each category among `categories`. Their order does not matter.
    categories : sequence of str
        Ids of the C categories, in the order of the shipped probabilities.
    model : str
        Label of the model that made the embeddings.
    start : LearnedHead, optional
        The prior mean, such as another study's exported head; without it, the shipped model.
    guess : LearnedHead, optional
        Where the search starts; it changes the time taken and nothing else.
    options : HeadOptions, optional
        Strengths and limits.

    Returns
    -------
    LearnedHead
        With `confirmations` counting those of the start too.

    Raises
    ------
    ValueError
        If there is no confirmation, or embeddings or probabilities of differing lengths.
    UnknownIdError
        If a confirmed category is not among the categories.
    HeadError
        If the start belongs to another model or category list.
    """
    options = options or HeadOptions()
    names = tuple(categories)
    problem = gather(confirmations, names, options)
    before = 0
    if start is not None:
        start.check_model(model, names)
        before = start.confirmations
        problem = replace(problem, offsets=problem.offsets + _shift(start, problem.units))
    first = _difference(guess, start) if guess is not None else None
    weights, bias = solve(problem, options, first=first)
    if start is not None:
        weights, bias = weights + start.weights, bias + start.bias
    return LearnedHead(model, names, weights, bias, before + len(problem.labels))


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """The confirmations as arrays: n photos, D features, C categories."""

    units: Single  # (n, D) unit embeddings
    offsets: Single  # (n, C) logits before learning
    labels: NDArray[np.int64]  # (n,)
    weights: Single  # (n,) above 0


def gather(
    confirmations: Sequence[Confirmation], categories: tuple[str, ...], options: HeadOptions
) -> Problem:
    """Stack confirmations into arrays and weigh them; see `fit_head` for the errors."""
    if not confirmations:
        raise ValueError("no confirmation to learn from: give at least one, or keep the start")
    place = {category: index for index, category in enumerate(categories)}
    labels = np.array([label_of(each, place) for each in confirmations])
    return Problem(
        units=unit(np.stack([each.embedding for each in confirmations])),
        offsets=np.log(np.stack([each.shipped for each in confirmations])).astype(np.float32),
        labels=labels,
        weights=balanced(labels, np.array([each.weight for each in confirmations]), options),
    )


def label_of(confirmation: Confirmation, places: Mapping[str, int]) -> int:
    """Return the index of the confirmed category; `UnknownIdError` if it has none."""
    try:
        return places[confirmation.category]
    except KeyError:
        raise UnknownIdError(
            f"category {confirmation.category!r} is not among the {len(places)} that can be "
            "learned; leave the confirmation out, or take the category list that has it",
            given=confirmation.category,
        ) from None


def balanced(labels: NDArray[np.int64], weights: Floats, options: HeadOptions) -> Single:
    """Weigh rare categories up and frequent ones down, the sum of weights staying what it was."""
    mass = np.bincount(labels, weights)[labels]  # of each confirmation's category
    weighed = weights * mass**-options.balance
    return np.asarray(weighed * (weights.sum() / weighed.sum()), dtype=np.float32)


def solve(
    problem: Problem, options: HeadOptions, *, first: tuple[Single, Single] | None = None
) -> tuple[Single, Single]:
    """Minimise the penalised loss from `first` or zero; return weights (C, D) and bias (C,).

    With fewer photos than features the weights lie in the span of the photos (representer
    theorem), so that the search runs in that smaller space, reached by a Cholesky factor.
    """
    n, width = problem.units.shape
    span = None
    if n < width:
        gram = problem.units @ problem.units.T
        gram[np.diag_indices(n)] += _JITTER  # repeats of one photo make it singular
        factor = np.asarray(np.linalg.cholesky(gram.astype(np.float64)), dtype=np.float32)
        span = solve_triangular(factor, problem.units, lower=True)  # (n, D), orthonormal rows
        problem = replace(problem, units=factor)
    classes = problem.offsets.shape[1]
    x = np.zeros((classes, problem.units.shape[1] + 1))
    if first is not None:
        x[:, :-1] = first[0] if span is None else first[0] @ span.T
        x[:, -1] = first[1]
    found = minimize(
        loss,
        x.ravel(),
        args=(problem, options),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": options.rounds, "gtol": options.tolerance * n, "ftol": 0.0},
    ).x.reshape(classes, -1)
    weights = found[:, :-1].astype(np.float32)
    return weights if span is None else weights @ span, found[:, -1].astype(np.float32)


def loss(flat: Floats, problem: Problem, options: HeadOptions) -> tuple[float, Floats]:
    """Return the penalised loss and its gradient at flattened weights and bias (C, D + 1)."""
    x = flat.reshape(problem.offsets.shape[1], -1)
    weights, bias = x[:, :-1].astype(np.float32), x[:, -1]
    logits = problem.offsets + problem.units @ weights.T + bias.astype(np.float32)
    log_p = log_softmax(logits, axis=1)  # (n, C)
    rows = np.arange(len(logits))
    value = -float(problem.weights @ log_p[rows, problem.labels])
    value += 0.5 * options.penalty * float(np.square(x[:, :-1]).sum())
    value += 0.5 * options.bias_penalty * float(np.square(bias).sum())
    pull = np.exp(log_p)
    pull[rows, problem.labels] -= 1.0
    pull *= problem.weights[:, None]
    slope = np.empty_like(x)
    slope[:, :-1] = pull.T @ problem.units + options.penalty * weights
    slope[:, -1] = pull.sum(axis=0) + options.bias_penalty * bias
    return value, slope.ravel()


def _shift(head: LearnedHead, units: Single) -> Single:
    return np.asarray(units @ head.weights.T + head.bias, dtype=np.float32)


def _difference(head: LearnedHead, start: LearnedHead | None) -> tuple[Single, Single]:
    if start is None:
        return head.weights, head.bias
    return head.weights - start.weights, head.bias - start.bias
