"""Two models on the same pictures: which one is right more often, and could it be chance."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike
from scipy.stats import binom

from classifier.estimators._checks import flags, same_length, whole_from
from classifier.estimators.intervals import group_bootstrap_ratio
from classifier.estimators.result import Estimate


@dataclass(frozen=True, slots=True)
class Paired:
    """Two models on the same pictures.

    Parameters
    ----------
    both, only_first, only_second, neither : int
        Pictures that both, one or neither of the models gets right.
    difference : Estimate
        Accuracy of the first less that of the second, -1 to 1, unit "1".
    p_value : float
        Of McNemar's exact test, above 0 up to 1.
    """

    both: int
    only_first: int
    only_second: int
    neither: int
    difference: Estimate
    p_value: float

    @property
    def n(self) -> int:
        """Number of pictures."""
        return self.both + self.only_first + self.only_second + self.neither


def mcnemar_exact(only_first: int, only_second: int) -> float:
    """Return the two-sided p-value of McNemar's exact test.

    Only pictures on which the models differ count: were both equally good, each such picture would
    go to either model like the toss of a coin.

    Parameters
    ----------
    only_first, only_second : int
        Pictures that only the first, only the second model gets right, at least 0.

    Returns
    -------
    float
        min(1, 2 P(X <= min(only_first, only_second))) with X binomial of n = only_first +
        only_second and p = 1/2; 1 where the models differ nowhere.

    Raises
    ------
    ValueError
        If a number is below 0.

    Assumptions
    -----------
    Pictures are independent. Several pictures of one object are not: the p-value is then too small,
    and the interval of `paired_accuracy` is the one to go by.

    References
    ----------
    Q. McNemar, Psychometrika 12 (1947) 153-157; in its exact form A. Agresti, Categorical Data
    Analysis (2002), section 10.1.

    Examples
    --------
    >>> mcnemar_exact(1, 9)
    0.021484375
    """
    whole_from(only_first, 0, "only_first")
    whole_from(only_second, 0, "only_second")
    fewer = min(only_first, only_second)
    return min(1.0, 2 * float(binom.cdf(fewer, only_first + only_second, 0.5)))


def paired_accuracy(
    first: ArrayLike,
    second: ArrayLike,
    groups: ArrayLike,
    *,
    level: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
) -> Paired:
    """Compare the accuracy of two models on the same pictures.

    Parameters
    ----------
    first, second : array-like of shape (n_pictures,)
        Whether each model is right on each picture, in the same order.
    groups : array-like of shape (n_pictures,)
        Label of the group (object, household) of each picture; at least two different ones.
    level : float
        Confidence level, between 0 and 1.
    draws : int
        Number of bootstrap draws of whole groups, at least 100.
    seed : int
        Seed of the generator.

    Returns
    -------
    Paired
        The two-by-two counts, the difference with its interval, and the p-value.

    Raises
    ------
    ValueError
        If lengths differ, entries are neither true nor false, there are fewer than two groups or
        100 draws, or the level lies outside 0 to 1.

    Assumptions
    -----------
    Groups are a random sample of the groups meant; for the p-value pictures are independent.

    References
    ----------
    As for `mcnemar_exact` and `group_bootstrap`.

    Examples
    --------
    >>> compared = paired_accuracy([1, 1, 1, 0], [1, 0, 0, 0], list("abcd"))
    >>> compared.only_first, compared.only_second, compared.difference.value, compared.p_value
    (2, 0, 0.5, 0.5)
    """
    ours, theirs = flags(first, "first"), flags(second, "second")
    same_length(first=ours, second=theirs)
    margin = ours.astype(float) - theirs.astype(float)
    difference = group_bootstrap_ratio(margin, groups, level=level, draws=draws, seed=seed)
    only_first, only_second = int((margin > 0).sum()), int((margin < 0).sum())
    return Paired(
        both=int((ours & theirs).sum()),
        only_first=only_first,
        only_second=only_second,
        neither=int((~ours & ~theirs).sum()),
        difference=difference,
        p_value=mcnemar_exact(only_first, only_second),
    )
