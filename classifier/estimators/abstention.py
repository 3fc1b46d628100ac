"""Whether the model knows when to abstain: risk against coverage, and separation of scores.

Everything here must be fed with data that trained neither the network nor the threshold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import rankdata

from classifier.estimators._checks import Floats, flags, same_length, vector
from classifier.estimators.intervals import wilson
from classifier.estimators.result import Estimate


@dataclass(frozen=True, slots=True, eq=False)
class RiskCoverage:
    """Error among the most confident, for every number of answered pictures.

    `coverage` is k / n for k = 1 ... n, `risk` the error among those k; both of shape (n,).
    """

    coverage: Floats
    risk: Floats

    @property
    def area(self) -> float:
        """AURC: mean of the risks over all coverages, 0 (best) to 1."""
        return float(self.risk.mean())


def risk_coverage(confidence: ArrayLike, correct: ArrayLike) -> RiskCoverage:
    """Return the risk at every coverage, answering the most confident first.

    Equal confidences can't be put in order: within such a run the errors are spread evenly, which
    is the mean over all orders, so that the result doesn't depend on the order of the input.

    Parameters
    ----------
    confidence : array-like of shape (n_predictions,)
        Any score that grows with confidence.
    correct : array-like of shape (n_predictions,)
        Whether the prediction was right.

    Returns
    -------
    RiskCoverage
        The curve and its area.

    Raises
    ------
    ValueError
        If lengths differ or a value is not allowed.

    References
    ----------
    Y. Geifman, R. El-Yaniv, Selective Classification for Deep Neural Networks, NeurIPS 2017; area
    as in Y. Geifman, G. Uziel, R. El-Yaniv, Bias-Reduced Uncertainty Estimation, ICLR 2019.

    Examples
    --------
    >>> round(risk_coverage([.9, .8, .7, .6, .5], [1, 1, 0, 1, 0]).area, 5)
    0.19667
    """
    score, right = vector(confidence, "confidence"), flags(correct, "correct")
    n = same_length(confidence=score, correct=right)
    _, run, sizes = np.unique(-score, return_inverse=True, return_counts=True)
    errors = np.bincount(run, ~right) / sizes  # error rate of each run of equal confidence
    answered = np.arange(1, n + 1)
    return RiskCoverage(coverage=answered / n, risk=np.cumsum(np.repeat(errors, sizes)) / answered)


@dataclass(frozen=True, slots=True)
class SelectiveAccuracy:
    """Accuracy where the confidence reaches `threshold`, and the share `coverage` that does."""

    threshold: float
    coverage: float
    accuracy: Estimate


def selective_accuracy(
    confidence: ArrayLike, correct: ArrayLike, *, coverage: float, level: float = 0.95
) -> SelectiveAccuracy:
    """Return the accuracy among the most confident part of the predictions.

    Parameters
    ----------
    confidence, correct
        As for `risk_coverage`.
    coverage : float
        Part to be answered, above 0 and at most 1. Predictions that tie with the last one are
        answered too, so the coverage returned is at least this.
    level : float
        Confidence level of the interval, between 0 and 1.

    Returns
    -------
    SelectiveAccuracy
        Threshold, coverage reached, and accuracy with Wilson's interval.

    Raises
    ------
    ValueError
        If lengths differ or coverage or level is not allowed.

    Assumptions
    -----------
    Independent predictions (see `wilson`). A threshold chosen on the same data makes the accuracy
    look better than it is: choose it on one split, report on another.

    References
    ----------
    Geifman and El-Yaniv 2017.

    Examples
    --------
    >>> s = selective_accuracy([.9, .8, .7, .6, .5], [1, 1, 0, 1, 0], coverage=0.4)
    >>> s.threshold, s.accuracy.value
    (0.8, 1.0)
    """
    score, right = vector(confidence, "confidence"), flags(correct, "correct")
    n = same_length(confidence=score, correct=right)
    if not 0 < coverage <= 1:
        raise ValueError(f"coverage {coverage} must be above 0 and at most 1")
    # 0.07 * 100 is 7.000000000000001 in floats: without the margin it would ask for eight.
    needed = max(1, int(np.ceil(coverage * n - 1e-9)))
    threshold = float(np.sort(score)[::-1][needed - 1])
    kept = score >= threshold
    answered = int(kept.sum())
    return SelectiveAccuracy(
        threshold=threshold,
        coverage=answered / n,
        accuracy=wilson(int(right[kept].sum()), answered, level=level),
    )


def auroc(scores: ArrayLike, positive: ArrayLike) -> float:
    """Return the chance that a positive scores above a negative, ties counting one half.

    Parameters
    ----------
    scores : array-like of shape (n_observations,)
        Score that should be higher for positives, such as the confidence of being right.
    positive : array-like of shape (n_observations,)
        Which observations are positive; at least one of each kind.

    Returns
    -------
    float
        Area under the ROC curve, 0 to 1; 0.5 means that the score separates nothing.

    Raises
    ------
    ValueError
        If lengths differ or one kind is missing.

    References
    ----------
    J. A. Hanley, B. J. McNeil, Radiology 143 (1982) 29-36: the area equals the Mann-Whitney
    statistic over the number of pairs.

    Examples
    --------
    >>> auroc([0.9, 0.8, 0.3, 0.1], [1, 0, 1, 0])
    0.75
    """
    score, yes = vector(scores, "scores"), flags(positive, "positive")
    n = same_length(scores=score, positive=yes)
    n_yes = int(yes.sum())
    if n_yes in (0, n):
        raise ValueError(f"{n_yes} of {n} are positive: give at least one of each kind")
    ranks = rankdata(score)
    wins = float(ranks[yes].sum()) - n_yes * (n_yes + 1) / 2
    return wins / (n_yes * (n - n_yes))
