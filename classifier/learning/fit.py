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
import scipy
from numpy.typing import NDArray

from classifier.errors import UnknownIdError
from classifier.learning.confirmation import Confirmation, Floats
from classifier.learning.head import LearnedHead, Single, unit
from classifier.learning.solver import Problem, solve


@dataclass(frozen=True, slots=True)
class HeadOptions:
    """How the head learns; the defaults were chosen by `python -m training.trials.replay`."""

    penalty: float = 0.03  # of squared weights on unit embeddings
    bias_penalty: float = 1.0
    balance: float = 0.7  # 0: every confirmation counts the same; 1: every category does
    margin: float = 2.0  # nats by which the first example of a category must win
    strange_margin: float = 8.0  # the same for a category which the model doesn't know
    welcome: float = 2.0  # nats in favour of a category which the model doesn't know


_FAMILIAR = 5.0  # nats: a category whose example once had p above 0.007 is known to the model
_STRANGE = 7.0  # nats: one that never had p above 0.001 is not; between, partly
_SHORT = 50  # confirmations after which half the favour is given


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
    strange = strangeness(problem)
    asked = options.margin + (options.strange_margin - options.margin) * strange
    weights, bias = solve(
        demand(problem, favour(asked, problem)),
        options.penalty,
        options.bias_penalty,
        first=first,
    )
    bias += favour(options.welcome * strange, problem).astype(np.float32)
    if start is not None:
        weights, bias = weights + start.weights, bias + start.bias
    return LearnedHead(model, names, weights, bias, before + len(problem.labels))


def gather(
    confirmations: Sequence[Confirmation], categories: tuple[str, ...], options: HeadOptions
) -> Problem:
    """Stack confirmations into arrays and weigh them; see `fit_head` for the errors."""
    if not confirmations:
        raise ValueError("no confirmation to learn from: give at least one, or keep the start")
    # The photos that span the weights are picked by place: a fixed one makes the order immaterial.
    confirmations = sorted(confirmations, key=lambda each: each.capture_id)
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


def counts(problem: Problem) -> NDArray[np.int64]:
    """Return how many confirmations each category has, shape (C,)."""
    return np.bincount(problem.labels, minlength=problem.offsets.shape[1])


def strangeness(problem: Problem) -> Floats:
    """Return for each category how little the model knows it, 0 to 1, shape (C,).

    A model that knows a category recognises one of its examples at least halfway. Categories
    without an example are not strange: nothing is to be learned of them.
    """
    best = np.full(problem.offsets.shape[1], -np.inf)
    log_p = scipy.special.log_softmax(problem.offsets, axis=1)
    np.maximum.at(best, problem.labels, log_p[np.arange(len(log_p)), problem.labels])
    strange = np.clip((-best - _FAMILIAR) / (_STRANGE - _FAMILIAR), 0.0, 1.0)
    return np.where(counts(problem) > 0, strange, 0.0)


def favour(strengths: Floats, problem: Problem) -> Floats:
    """Give rare categories more, and none to the frequent: nats for each category, shape (C,).

    A strength (C,) fades with the square root of a category's examples. What the average
    confirmation would get is taken off, so that a log whose categories are all new favours none;
    and a short log, of which little can be said, favours less than a long one.
    """
    n = counts(problem)
    fading = np.where(n > 0, strengths / np.sqrt(np.maximum(n, 1)), 0.0)
    above = np.where(n > 0, np.maximum(fading - fading @ n / n.sum(), 0.0), 0.0)
    return np.asarray(above * (n.sum() / (n.sum() + _SHORT)), dtype=np.float64)


def demand(problem: Problem, margins: Floats) -> Problem:
    """Handicap each confirmed category by its margin (C,), so that its example must win by it.

    A category with few examples has to be separated more widely, or further examples, which differ
    from the few, go to the frequent neighbours.

    References
    ----------
    K. Cao et al., Learning imbalanced datasets with label-distribution-aware margin loss, NeurIPS
    2019; theirs falls with the fourth root of the number of examples.
    """
    offsets = problem.offsets.copy()
    offsets[np.arange(len(offsets)), problem.labels] -= margins[problem.labels]
    return replace(problem, offsets=offsets)


def _shift(head: LearnedHead, units: Single) -> Single:
    return np.asarray(units @ head.weights.T + head.bias, dtype=np.float32)


def _difference(head: LearnedHead, start: LearnedHead | None) -> tuple[Single, Single]:
    if start is None:
        return head.weights, head.bias
    return head.weights - start.weights, head.bias - start.bias
