"""Batches whose mean item weight is far from that of the others of their category."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, counted_masses

FEWEST_OTHERS = 4
"""With fewer other batches their spread is too uncertain to judge one by."""
LEAST_FACTOR = 1.5
"""A batch within this factor of the others is never called far, however alike those are."""
SURE = 0.995
"""Two-sided level of the t quantile; what it gives in false alarms is in the simulation."""
_MAD_TO_SD = 1.4826


@dataclass(frozen=True, slots=True)
class FarBatch:
    """A batch by its place, its mean item weight, and the range that the others leave for it."""

    place: int
    item_g: float
    usual_g: float
    low_g: float
    high_g: float
    others: int

    @property
    def factor(self) -> float:
        """How many times the usual weight its items weigh."""
        return self.item_g / self.usual_g


def far_batches(
    grams: ArrayLike, counts: ArrayLike, *, places: Iterable[int] | None = None
) -> tuple[FarBatch, ...]:
    """Return the batches whose mean item weight the others don't explain.

    Parameters
    ----------
    grams : array-like of shape (n_batches,)
        Net weight of each batch in grams, above 0.
    counts : array-like of shape (n_batches,)
        Number of items in each batch, at least 1.
    places : iterable of int, optional
        Places of the batches to judge, all if not given; the others are only compared with.

    Returns
    -------
    tuple of FarBatch
        In the order of the places; none where there are fewer than five batches.

    Raises
    ------
    ValueError
        As for `fit_item_weight`, except that any number of batches will do.

    Assumptions
    -----------
    Most of the batches are as they should be: fewer than half may be wrong together.

    Notes
    -----
    Each batch is held against the others. x = log(w / n); their centre is the median of x, their
    spread 1.4826 times the median absolute deviation, once of x (batches differ) and once of
    x sqrt(n) (items differ), mixed by n as in `fit_item_weight`. The limit is the larger of
    log 1.5 and t(0.9975, others - 1) times that spread: Student's t stands in for the uncertainty
    of a spread from few batches. False alarms and detections, measured with 2,000 seeded draws:
    tests/simulated/test_item_weight_coverage.py.

    References
    ----------
    Median and MAD against outliers that hide each other: B. Iglewicz and D. C. Hoaglin, How to
    Detect and Handle Outliers (1993) (code D, from memory; they use 3.5 robust standard deviations
    for large samples). Limits: own, judged by the simulation.

    Examples
    --------
    >>> found = far_batches([180, 375, 190, 92, 300, 900], [10, 20, 10, 5, 15, 10])
    >>> [(each.place, round(each.factor, 1)) for each in found]
    [(5, 4.8)]
    """
    mass, number = counted_masses(grams, counts)
    x = np.log(mass / number)
    judged = range(len(x)) if places is None else places
    found = (_judged(place, x, number) for place in judged)
    return tuple(each for each in found if each is not None)


def _judged(place: int, x: Floats, number: Floats) -> FarBatch | None:
    others, counts = np.delete(x, place), np.delete(number, place)
    if len(others) < FEWEST_OTHERS:
        return None
    centre = float(np.median(others))
    off = np.abs(others - centre)
    batch_sd = _MAD_TO_SD * float(np.median(off))
    item_sd = _MAD_TO_SD * float(np.median(off * np.sqrt(counts)))
    own = counts.mean() / (counts.mean() + number[place])
    sd = math.sqrt(own * item_sd**2 / number[place] + (1 - own) * batch_sd**2)
    limit = max(
        math.log(LEAST_FACTOR), float(scipy.special.stdtrit(len(others) - 1, 0.5 + SURE / 2)) * sd
    )
    if abs(x[place] - centre) <= limit:
        return None
    return FarBatch(
        place=place,
        item_g=float(np.exp(x[place])),
        usual_g=math.exp(centre),
        low_g=math.exp(centre - limit),
        high_g=math.exp(centre + limit),
        others=len(others),
    )
