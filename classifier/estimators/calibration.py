"""Whether a confidence of 0.8 is right eight times in ten: calibration error and temperature.

Everything here must be fed with data that trained neither the network nor, for evaluation, the
temperature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize_scalar
from scipy.special import log_softmax, softmax

from classifier.estimators._checks import (
    Floats,
    flags,
    matrix,
    probabilities,
    same_length,
    vector,
    whole_from,
)

BINS = 15
TEMPERATURE_RANGE = (0.05, 20.0)


@dataclass(frozen=True, slots=True, eq=False)
class Reliability:
    """Confidence against accuracy by equal-width bin, for a reliability diagram.

    Arrays of shape (n_bins,): edges `lower` < confidence <= `upper`, number of predictions `n`, and
    mean `confidence` and `accuracy` of each bin, both 0 in an empty one.
    """

    lower: Floats
    upper: Floats
    n: NDArray[np.int64]
    confidence: Floats
    accuracy: Floats

    @property
    def expected_error(self) -> float:
        """ECE: mean gap of accuracy and confidence, weighted by the bins' sizes."""
        weights = self.n / self.n.sum()
        return float(weights @ np.abs(self.accuracy - self.confidence))


def reliability(confidence: ArrayLike, correct: ArrayLike, *, bins: int = BINS) -> Reliability:
    """Return confidence and accuracy by equal-width bin.

    Parameters
    ----------
    confidence : array-like of shape (n_predictions,)
        Probability given to the predicted class, 0 to 1.
    correct : array-like of shape (n_predictions,)
        Whether the prediction was right.
    bins : int
        Number of bins, at least 1.

    Returns
    -------
    Reliability
        Table with one entry for each bin.

    Raises
    ------
    ValueError
        If lengths differ, a confidence lies outside 0 to 1, or there is no bin.

    References
    ----------
    C. Guo, G. Pleiss, Y. Sun, K. Q. Weinberger, On Calibration of Modern Neural Networks, ICML
    2017, section 2: bins ((m - 1) / M, m / M]. A confidence of exactly 0 joins the first bin.

    Examples
    --------
    >>> reliability([0.25, 0.25, 0.75], [0, 0, 1], bins=2).n.tolist()
    [2, 1]
    """
    p, right = probabilities(confidence, "confidence"), flags(correct, "correct")
    same_length(confidence=p, correct=right)
    edges = np.linspace(0, 1, whole_from(bins, 1, "bins") + 1)
    # side="left": an edge belongs to the bin below it, as in the paper.
    index = np.clip(np.searchsorted(edges, p, side="left") - 1, 0, bins - 1)
    n = np.bincount(index, minlength=bins)
    filled = np.maximum(n, 1)
    return Reliability(
        lower=edges[:-1],
        upper=edges[1:],
        n=n.astype(np.int64),
        confidence=np.bincount(index, p, bins) / filled,
        accuracy=np.bincount(index, right.astype(np.float64), bins) / filled,
    )


def expected_calibration_error(
    confidence: ArrayLike, correct: ArrayLike, *, bins: int = BINS
) -> float:
    """Return the expected calibration error, 0 (calibrated) to 1.

    Parameters
    ----------
    confidence, correct, bins
        As for `reliability`; 15 bins as in the paper.

    Returns
    -------
    float
        sum over bins of (n_b / n) |accuracy_b - confidence_b|. It is biased upwards for small n and
        depends on the number of bins: compare only at the same number.

    Raises
    ------
    ValueError
        As for `reliability`.

    References
    ----------
    Guo et al. 2017, equation 3.

    Examples
    --------
    >>> round(expected_calibration_error([.25, .25, .55, .75, .75], [0, 0, 1, 1, 1], bins=2), 4)
    0.29
    """
    return reliability(confidence, correct, bins=bins).expected_error


def temperature_probabilities(logits: ArrayLike, temperature: float) -> Floats:
    """Return softmax(logits / temperature), which never changes the order of classes.

    Parameters
    ----------
    logits : array-like of shape (n_predictions, n_classes)
        Scores before softmax.
    temperature : float
        Above 0; above 1 softens, below 1 sharpens.

    Returns
    -------
    ndarray of shape (n_predictions, n_classes)
        Probabilities; rows add to 1.

    Raises
    ------
    ValueError
        If the temperature is not above 0 or the logits are no finite matrix.

    References
    ----------
    Guo et al. 2017, section 4.2.

    Examples
    --------
    >>> temperature_probabilities([[0.0, 0.0]], 2.0).tolist()
    [[0.5, 0.5]]
    """
    if not 0 < temperature < np.inf:
        raise ValueError(f"temperature {temperature} must be above 0")
    probability: Floats = softmax(matrix(logits, "logits") / temperature, axis=1)
    return probability


def fit_temperature(logits: ArrayLike, labels: ArrayLike) -> float:
    """Return the temperature that minimises the negative log likelihood.

    Parameters
    ----------
    logits : array-like of shape (n_predictions, n_classes)
        Scores of held-out pictures that trained nothing.
    labels : array-like of shape (n_predictions,)
        True classes, 0 to n_classes - 1.

    Returns
    -------
    float
        Temperature within 0.05 to 20; an end of that range means that the labels are (almost)
        perfectly separated or the logits say nothing, and that no temperature helps.

    Raises
    ------
    ValueError
        If lengths differ or a label is no class.

    Notes
    -----
    The likelihood is convex in 1 / temperature, so a bounded scalar search finds the one minimum.

    References
    ----------
    Guo et al. 2017, section 4.2.

    Examples
    --------
    >>> fit_temperature([[2.0, 0.0], [2.0, 0.0], [2.0, 0.0], [2.0, 0.0]], [0, 0, 0, 1]) > 1
    True
    """
    scores, true = matrix(logits, "logits"), _labels(labels, np.shape(logits))

    def loss(inverse: float) -> float:
        rows = log_softmax(scores * inverse, axis=1)
        return float(-rows[np.arange(true.size), true].mean())

    low, high = TEMPERATURE_RANGE
    found = minimize_scalar(
        loss, bounds=(1 / high, 1 / low), method="bounded", options={"xatol": 1e-6}
    )
    return float(1 / found.x)


def negative_log_likelihood(
    logits: ArrayLike, labels: ArrayLike, *, temperature: float = 1.0
) -> float:
    """Return the mean negative log likelihood of the true classes, in nats, at least 0.

    Parameters
    ----------
    logits, labels
        As for `fit_temperature`.
    temperature : float
        Above 0.

    Raises
    ------
    ValueError
        As for `fit_temperature` and `temperature_probabilities`.

    References
    ----------
    Guo et al. 2017, section 2.

    Examples
    --------
    >>> round(negative_log_likelihood([[0.0, 0.0]], [1]), 4)
    0.6931
    """
    if not 0 < temperature < np.inf:
        raise ValueError(f"temperature {temperature} must be above 0")
    scores, true = matrix(logits, "logits"), _labels(labels, np.shape(logits))
    rows = log_softmax(scores / temperature, axis=1)
    return float(-rows[np.arange(true.size), true].mean())


def _labels(labels: ArrayLike, shape: tuple[int, ...]) -> NDArray[np.int64]:
    """Return the labels as class numbers of a matrix of that shape."""
    given = vector(labels, "labels")
    if given.size != shape[0]:
        raise ValueError(f"{given.size} labels for {shape[0]} rows of logits: give one each")
    true = given.astype(np.int64)
    if (true != given).any() or true.min() < 0 or true.max() >= shape[1]:
        raise ValueError(f"labels must be whole numbers from 0 to {shape[1] - 1}")
    return true
