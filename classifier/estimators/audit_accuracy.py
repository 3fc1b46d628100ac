"""Accuracy of a model on the items themselves, from a verified part of each stratum.

Overall, user's (of what was called a can, how much is one: precision) and producer's (of the cans,
how many were called so: recall). Predictions that were verified more often than others do not
count for more: each stratum carries its share of all items.

Coverage of the 95 % normal intervals, simulated with eight categories from 30 % to 2 % and 12 (25)
verified of each prediction: overall 93 % (94 %), user's 81-93 % (89-97 %), producer's 90 % (93 %)
for the commonest down to 34 % (55 %) for the rarest: do not quote the producer's accuracy of a rare
category from a few audits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from classifier.estimators._checks import Floats, level_of, same_length
from classifier.estimators._tables import counted, enough_verified, named, sizes_of
from classifier.estimators.corrected import Caveat, few_verified, label_caveats, range_caveats
from classifier.estimators.result import Estimate


@dataclass(frozen=True, slots=True)
class AuditAccuracy:
    """Accuracies, unit "1"; by category None where there was nothing to judge from."""

    categories: tuple[str, ...]
    overall: Estimate
    users: tuple[Estimate | None, ...]
    producers: tuple[Estimate | None, ...]
    caveats: tuple[Caveat, ...]


def accuracy_by_prediction(
    confusion: ArrayLike,
    predicted_counts: ArrayLike,
    *,
    categories: Sequence[str],
    blind: bool,
    level: float = 0.95,
    finite: bool = True,
) -> AuditAccuracy:
    """Estimate accuracy where items were verified at random within each predicted category.

    Parameters
    ----------
    confusion : array-like of shape (n_categories, n_categories)
        Verified items by predicted (row) and true category (column).
    predicted_counts : array-like of shape (n_categories,)
        All items by predicted category, the verified ones included.
    categories : sequence of str
        Names of rows and columns.
    blind : bool
        Whether the verified labels were chosen before the suggestion was seen.
    level : float
        Confidence level, between 0 and 1.
    finite : bool
        Whether the interval is about exactly these items (finite population correction). False
        gives the published formula.

    Returns
    -------
    AuditAccuracy
        With normal intervals, which may reach outside 0 to 1 and are not clipped.

    Raises
    ------
    ValueError
        If a shape, name, count or the level is not allowed, or a predicted category has fewer than
        two verified items and was not verified wholly.

    Assumptions
    -----------
    The verified items of each predicted category are a random part of it; true labels are right.

    References
    ----------
    P. Olofsson et al., Remote Sensing of Environment 148 (2014) 42-57, eqs. 1-8 (code A).

    Examples
    --------
    >>> a = accuracy_by_prediction([[34, 6], [6, 54]], [400, 600], categories=["can", "other"],
    ...                            blind=True)
    >>> round(a.overall.value, 2), round(a.users[0].value, 2), round(a.producers[0].value, 2)
    (0.88, 0.85, 0.85)
    """
    table, sizes = counted(confusion, "confusion"), sizes_of(predicted_counts, "predicted_counts")
    same_length(confusion=table, predicted_counts=sizes)
    k = sizes.size
    names = named(categories, table.shape[1], "categories")
    if table.shape != (k, k):
        raise ValueError(
            f"confusion has shape {table.shape}: accuracy needs the same categories in rows and "
            "columns"
        )
    joint = np.zeros((k, k, k))
    joint[np.arange(k), np.arange(k)] = table
    return accuracy_from_joint(
        joint, sizes, strata=names, categories=names, blind=blind, level=level, finite=finite
    )


def accuracy_from_joint(
    joint: Floats,
    sizes: Floats,
    *,
    strata: Sequence[str],
    categories: tuple[str, ...],
    blind: bool,
    level: float,
    finite: bool,
) -> AuditAccuracy:
    """Estimate accuracy from verified items by stratum, prediction and truth.

    Parameters
    ----------
    joint : ndarray of shape (n_strata, n_categories, n_categories)
        Verified items by stratum, predicted and true category.
    sizes : ndarray of shape (n_strata,)
        All items of each stratum.
    strata, categories, blind, level, finite
        As for `accuracy_by_prediction`.

    Returns
    -------
    AuditAccuracy
        As for `accuracy_by_prediction`.

    Raises
    ------
    ValueError
        If the level is not allowed or a stratum has too few verified items.

    Notes
    -----
    Each accuracy is a ratio R = sum N_h ybar_h / sum N_h xbar_h with y "right and counted" and x
    "counted"; its variance is sum N_h^2 (1 - f_h) s_h^2(y - R x) / n_h / (sum N_h xbar_h)^2.

    References
    ----------
    S. V. Stehman, Int. J. Remote Sensing 35 (2014) 4923-4939, eqs. 27-28 (DOMAIN.md 7.2, code A;
    equation numbers D). With strata that are the predictions it is Olofsson et al. 2014.

    Examples
    --------
    >>> joint = np.array([[[3.0, 1.0], [0.0, 4.0]]])
    >>> a = accuracy_from_joint(joint, np.array([80.0]), strata=["day 1"], blind=True, level=0.9,
    ...                         categories=("can", "other"), finite=True)
    >>> a.overall.value
    0.875
    """
    z = float(ndtri(0.5 + level_of(level) / 2))
    verified = joint.sum(axis=(1, 2))  # (H,)
    enough_verified(verified, sizes, strata)
    caveats = label_caveats(blind) + few_verified(strata, verified, sizes)
    kept = sizes > 0
    joint, sizes, verified = joint[kept], sizes[kept], verified[kept]
    left = 1 - verified / sizes if finite else np.ones_like(sizes)
    factor = sizes**2 * left / np.maximum(verified - 1, 1)  # N^2 (1 - f) / (n - 1)
    terms = _Terms(sizes, factor, verified, z, level)
    right = joint.diagonal(axis1=1, axis2=2).T  # (K, H)
    called, truly = joint.sum(axis=2).T, joint.sum(axis=1).T  # (K, H) each
    overall = terms.ratio(right.sum(axis=0), verified, "overall")
    users, producers = (
        terms.ratios(right, called, "user's"),
        terms.ratios(right, truly, "producer's"),
    )
    shown = [("overall", overall), *_shown("user's", categories, users)]
    shown += _shown("producer's", categories, producers)
    return AuditAccuracy(
        categories=categories,
        overall=overall,
        users=users,
        producers=producers,
        caveats=(*caveats, *_odd(shown)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Terms:
    """What all ratios share: arrays of shape (n_strata,), quantile and level."""

    sizes: Floats
    factor: Floats
    verified: Floats
    z: float
    level: float

    def ratios(self, hits: Floats, bases: Floats, what: str) -> tuple[Estimate | None, ...]:
        """Return the ratio for each category, None where its base is empty."""
        pairs = zip(hits, bases, strict=True)
        return tuple(self.ratio(y, x, what) if x.any() else None for y, x in pairs)

    def ratio(self, hits: Floats, base: Floats, what: str) -> Estimate:
        """Return the ratio of two stratified sums of flags; a hit counts in the base too."""
        y, x = hits / self.verified, base / self.verified
        whole = float(self.sizes @ x)
        ratio = float(self.sizes @ y) / whole
        # Mean square of y - R x about its mean, with y^2 = y x = y for flags.
        square = y - 2 * ratio * y + ratio**2 * x - (y - ratio * x) ** 2
        half = self.z * float(np.sqrt(self.factor @ np.maximum(square, 0.0))) / whole
        return Estimate(
            value=ratio,
            low=ratio - half,
            high=ratio + half,
            level=self.level,
            unit="1",
            method=f"{what} accuracy, stratified ratio estimator, normal interval",
            n=int(self.verified.sum()),
            assumptions=(
                "the verified items are a random part of each stratum",
                "true labels are right",
            ),
        )


def _shown(
    what: str, categories: tuple[str, ...], estimates: tuple[Estimate | None, ...]
) -> list[tuple[str, Estimate]]:
    return [
        (f"{what} of {name}", estimate)
        for name, estimate in zip(categories, estimates, strict=True)
        if estimate is not None
    ]


def _odd(shown: list[tuple[str, Estimate]]) -> tuple[Caveat, ...]:
    """Return the caveats about ends of intervals, each naming the accuracies it is about."""
    value, low, high = np.array([(e.value, e.low, e.high) for _, e in shown]).T
    return range_caveats([name for name, _ in shown], value, (low, high))
