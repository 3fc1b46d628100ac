"""Krippendorff's alpha for categories: any number of people, ratings may be missing."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np

from classifier.estimators._checks import Floats
from classifier.estimators.agreement import bootstrapped
from classifier.estimators.result import Estimate

Rating = Hashable | None


def krippendorff_alpha(
    ratings: Sequence[Sequence[Rating]],
    *,
    blind: bool,
    level: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
) -> Estimate:
    """Estimate the agreement of people who each labelled some of the items.

    Parameters
    ----------
    ratings : sequence of sequence, of shape (n_people, n_items)
        Category that each person gave each item; None where nothing. Items with fewer than two
        ratings are left out.
    blind, level, draws, seed
        As for `cohen_kappa`.

    Returns
    -------
    Estimate
        Alpha up to 1 (1 agreement, 0 as by chance), unit "1", with percentile interval; n is the
        number of items with two ratings or more.

    Raises
    ------
    ValueError
        As for `cohen_kappa`; if fewer than two items have two ratings.

    Assumptions
    -----------
    Items are a random sample of the items meant; labels are given independently; people are
    interchangeable.

    Notes
    -----
    alpha = 1 - Do / De: Do the part of pairs of ratings of one item that differ (each item's pairs
    weighted 1 / (m - 1)), De that of any two ratings; the nominal metric. The interval resamples
    whole items, unlike Krippendorff's own algorithm, which resamples the pairs within them.

    References
    ----------
    K. Krippendorff, Content Analysis, 2nd ed. (2004), chapter 11 (DOMAIN.md 9.3, code C).

    Examples
    --------
    >>> ada, ben = ["can", "jar", "jar", "can"], ["can", "jar", None, "jar"]
    >>> round(krippendorff_alpha([ada, ben], blind=True).value, 3)
    0.444
    """
    patterns, frequency = np.unique(_by_item(ratings), axis=0, return_counts=True)
    m = patterns.sum(axis=1)  # (P,) ratings of each item
    within = _unequal_pairs(patterns) / (m - 1)  # (P,)

    def alpha(times: Floats) -> Floats:
        all_ratings = times @ patterns  # (B, K)
        observed = (all_ratings.sum(axis=1) - 1) * (times @ within)
        expected = _unequal_pairs(all_ratings)
        undefined = np.full_like(expected, np.nan)
        disagreement = np.divide(observed, expected, out=undefined, where=expected > 1e-12)
        return np.asarray(1 - disagreement, dtype=np.float64)

    name = "Krippendorff's alpha (nominal)"
    return bootstrapped(alpha, frequency, name, blind=blind, level=level, draws=draws, seed=seed)


def _unequal_pairs(counts: Floats) -> Floats:
    """Return the ordered pairs of ratings that differ, of each row of counts by category."""
    return np.asarray(counts.sum(axis=1) ** 2 - (counts**2).sum(axis=1), dtype=np.float64)


def _by_item(ratings: Sequence[Sequence[Rating]]) -> Floats:
    """Return how often each item got each category, of shape (n_items, K)."""
    if len({len(row) for row in ratings}) > 1:
        raise ValueError("people have different numbers of entries: give None where none was given")
    items = zip(*ratings, strict=True)
    columns = [[value for value in item if value is not None] for item in items]
    columns = [item for item in columns if len(item) > 1]
    if len(columns) < 2:
        raise ValueError(
            f"{len(columns)} items have two ratings or more: at least 2 are needed; have more "
            "items labelled twice"
        )
    values = sorted({value for item in columns for value in item}, key=str)
    return np.array([[item.count(value) for value in values] for item in columns], dtype=np.float64)
