"""Confidence and thresholds, set on pictures that trained nothing.

Two kinds of held-out pictures speak: the calibration split of the sources that trained, and
pictures of a whole source kept out of a sister run. In use every floor is new, so both count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit

from classifier.inference.preprocess import view_probabilities
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from classifier.rules.suggestion_parts import NON_ITEM, Thresholds
from training.judging.evaluate import route_matrix
from training.pictures.forms import FormTable

_RANGE = (0.2, 5.0)  # temperatures searched
_STEEPEST = 1.0  # slope of a temperature's logarithm over strangeness
ROUTE_CORRECT = 0.95  # share of shown routes that must be right
STOP_FOUND = 0.95  # share of stop items that must raise the caution
STOP_RANGE = (0.15, 0.5)  # below, a tenth of batteries among electronics would stop every phone
FALSE_STOPS = 0.03  # share of other items that may stop
ITEMS_REFUSED = 0.01  # share of items that may be called "not an item"
UNSURE_CORRECT = 0.5  # below this chance of being right, "not sure" is the better answer


@dataclass(frozen=True, slots=True)
class HeldOut:
    """Logits (n, views, forms) with true forms (n,); -1 where nobody decided.

    `strangeness` is (n, views), or None where nobody asked for it: every picture is 0 then.
    `unlearned` are the forms of which the network had no picture to learn from.
    """

    logits: NDArray[np.float32]
    labels: NDArray[np.int64]
    strangeness: NDArray[np.float32] | None = None
    unlearned: frozenset[int] = frozenset()

    def known(self) -> HeldOut:
        """Only the pictures whose form is decided."""
        return self.only(self.labels >= 0)

    def only(self, wanted: NDArray[np.bool_]) -> HeldOut:
        """Only the pictures where `wanted` holds."""
        strange = None if self.strangeness is None else self.strangeness[wanted]
        return HeldOut(self.logits[wanted], self.labels[wanted], strange, self.unlearned)

    def doubted(self, slope: float) -> HeldOut:
        """Divide the logits by `exp(slope * strangeness)`, as the exported network does."""
        if self.strangeness is None or slope == 0:
            return HeldOut(self.logits, self.labels)
        factor = np.exp(slope * self.strangeness)[..., None]
        return HeldOut(self.logits / factor, self.labels)


@dataclass(frozen=True, slots=True)
class Confidence:
    """Logits are divided by `temperature * exp(slope * strangeness)`."""

    temperature: float
    slope: float = 0.0


def fit_confidence(sets: Sequence[HeldOut]) -> Confidence:
    """Temperature and slope of least negative log likelihood, every set weighing the same.

    The likelihood is that of the mean over views of softmax(logits / t), as in use; for one view
    and without strangeness this is the temperature scaling of Guo et al. (2017), section 4.2. The
    slope is never below 0: what is strange is not trusted more for it. Forms that a network had no
    picture of are left out: it can't be right about them at any temperature, and a likelihood would
    hear little else. Both are rounded to four
    decimals: what is written is what is used.
    """
    learned = (held.only(~np.isin(held.labels, [-1, *held.unlearned])) for held in sets)
    known = [held for held in learned if len(held.labels)]

    def loss(parameters: NDArray[np.float64]) -> float:
        means = []
        for held in known:
            p = view_probabilities(held.doubted(parameters[1]).logits, np.exp(parameters[0]))
            means.append(-np.log(p[np.arange(len(p)), held.labels].clip(1e-12)).mean())
        return float(np.mean(means))

    steepest = _STEEPEST if any(held.strangeness is not None for held in known) else 0.0
    found = minimize(loss, np.zeros(2), method="L-BFGS-B", bounds=[np.log(_RANGE), (0.0, steepest)])
    return Confidence(round(float(np.exp(found.x[0])), 4), round(float(found.x[1]), 4))


def set_confidence(calibrate: HeldOut, unseen: Sequence[HeldOut]) -> Confidence:
    """Fit to the calibration split and to sources that a sister never saw.

    Without the latter the temperature is at least 1: pictures of known floors alone can't tell how
    sure to be on another one.
    """
    confidence = fit_confidence([calibrate, *unseen])
    if unseen:
        return confidence
    return replace(confidence, temperature=max(confidence.temperature, 1.0))


def least_threshold(
    confidence: NDArray[np.float64], correct: NDArray[np.bool_], target: float
) -> float:
    """Smallest confidence from which on at least `target` of the answers are right.

    Returns 1.0 where even the surest answers are not right often enough.
    """
    order = np.argsort(-confidence, kind="stable")
    surest = confidence[order]
    share = np.cumsum(correct[order]) / np.arange(1, len(order) + 1)
    last_of_ties = np.append(surest[:-1] > surest[1:], True)  # equal ones are answered together
    good = np.flatnonzero((share >= target) & last_of_ties)
    # A handful of sure pictures proves nothing, hence at least a twentieth of them.
    good = good[good >= len(order) // 20]
    return float(surest[good[-1]]) if len(good) else 1.0


def unsure_threshold(confidence: NDArray[np.float64], correct: NDArray[np.bool_]) -> float:
    """Confidence below which the top category is right less than `UNSURE_CORRECT` of the time.

    A logistic curve in the log-odds of the confidence (Platt, 1999) smooths the small bins.
    """
    clipped = confidence.clip(1e-6, 1 - 1e-6)
    odds = np.log(clipped / (1 - clipped))

    def loss(parameters: NDArray[np.float64]) -> float:
        z = parameters[0] * odds + parameters[1]
        return float(np.mean(np.logaddexp(0, np.where(correct, -z, z))))

    slope, offset = minimize(loss, np.array([1.0, 0.0])).x
    target = np.log(UNSURE_CORRECT / (1 - UNSURE_CORRECT))
    crossing = expit((target - offset) / max(slope, 1e-6))
    return float(np.clip(crossing, 0.05, 0.95))


def stop_threshold(hazard: NDArray[np.float64], is_stop: NDArray[np.bool_]) -> float:
    """Largest probability of a stop category that still catches `STOP_FOUND` of the stop items.

    It is higher where more than `FALSE_STOPS` of the other items would stop: a hazard that does not
    stop still gets its caution. Kept within `STOP_RANGE`: a model blind to a hazard must not warn
    on every picture.
    """
    found = np.quantile(hazard[is_stop], 1 - STOP_FOUND) if is_stop.any() else STOP_RANGE[0]
    quiet = np.quantile(hazard[~is_stop], 1 - FALSE_STOPS) if not is_stop.all() else 0.0
    return float(np.clip(max(found, quiet), *STOP_RANGE))


def non_item_threshold(non_item: NDArray[np.float64]) -> float:
    """Probability of "no item" that at most `ITEMS_REFUSED` of real items reach."""
    return float(np.clip(np.quantile(non_item, 1 - ITEMS_REFUSED), 0.3, 0.9))


def set_thresholds(
    sets: Sequence[HeldOut],
    confidence: Confidence,
    table: FormTable,
    categories: Categories,
    programme: Programme,
    *,
    least_route: float,
) -> Thresholds:
    """Thresholds on all held-out pictures of items together; each rule stands with its function.

    Rounded to three decimals: what is written is what is used. `least_route` is the smallest
    threshold of a route that may come out, however right the pictures are.
    """
    known = [held.known().doubted(confidence.slope) for held in sets]
    labels = np.concatenate([held.labels for held in known])
    temperature = confidence.temperature
    p = np.concatenate([view_probabilities(held.logits, temperature) for held in known])
    non_item = table.ids.index(NON_ITEM)
    p, labels = p[labels != non_item], labels[labels != non_item]
    routes, _ = route_matrix(table, categories, programme)  # (F, R)
    shares = np.array(
        [[form.categories.get(c.id, 0.0) for c in categories.categories] for form in table.forms]
    )  # (F, C)
    sent, counted = p @ routes, p @ shares
    route_right = sent.argmax(axis=1) == routes[labels].argmax(axis=1)
    category = shares[labels].argmax(axis=1)
    stops = np.array([c.stop for c in categories.categories])
    route = least_threshold(sent.max(axis=1), route_right, ROUTE_CORRECT)
    unsure = unsure_threshold(counted.max(axis=1), counted.argmax(axis=1) == category)
    return Thresholds(
        route=round(max(least_route, route), 3),
        stop=round(stop_threshold(counted[:, stops].sum(axis=1), stops[category]), 3),
        unsure=round(unsure, 3),
        non_item=round(non_item_threshold(p[:, non_item]), 3),
    )
