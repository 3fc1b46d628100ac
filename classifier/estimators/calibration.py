"""Whether a confidence of 0.8 is right eight times in ten: the calibration error.

Everything here must be fed with data that trained neither the network nor its temperature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from classifier.estimators._checks import Floats, flags, probabilities, same_length, whole_from

BINS = 15


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
