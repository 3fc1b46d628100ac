"""Krippendorff's alpha: agreement with any number of people, missing ratings, any scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from classifier.estimators._checks import Floats
from classifier.estimators._tables import chosen_from
from classifier.estimators.agreement import bootstrapped
from classifier.estimators.result import Estimate

Metric = Literal["nominal", "ordinal", "interval", "ratio"]
Rating = str | float | None


def krippendorff_alpha(
    ratings: Sequence[Sequence[Rating]],
    *,
    metric: Metric,
    blind: bool,
    level: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
) -> Estimate:
    """Estimate the agreement of people who each labelled some of the items.

    Parameters
    ----------
    ratings : sequence of sequence, of shape (n_people, n_items)
        What each person gave each item; None where nothing. Names or numbers if nominal, else
        numbers. Items with fewer than two ratings are left out.
    metric : {"nominal", "ordinal", "interval", "ratio"}
        How different two ratings are: categories; ranks; numbers by difference; numbers not below
        0 by relative difference.
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
        As for `cohen_kappa`; if fewer than two items have two ratings, or a rating does not fit the
        metric.

    Assumptions
    -----------
    Items are a random sample of the items meant; labels are given independently; people are
    interchangeable.

    Notes
    -----
    alpha = 1 - Do / De: Do the mean difference of two ratings of one item (each item's pairs
    weighted 1 / (m - 1)), De of any two ratings. The ordinal difference is that of the mid-ranks
    and so depends on all ratings: it is formed anew in each draw. The interval resamples whole
    items, unlike Krippendorff's own algorithm, which resamples the pairs within them.

    References
    ----------
    K. Krippendorff, Content Analysis, 2nd ed. (2004), chapter 11 (DOMAIN.md 9.3, code C).

    Examples
    --------
    >>> ada, ben = ["can", "jar", "jar", "can"], ["can", "jar", None, "jar"]
    >>> round(krippendorff_alpha([ada, ben], metric="nominal", blind=True).value, 3)
    0.444
    """
    chosen_from(metric, ("nominal", "ordinal", "interval", "ratio"), "metric")
    values, table = _by_item(ratings, metric)
    patterns, frequency = np.unique(table, axis=0, return_counts=True)
    m = patterns.sum(axis=1)  # (P,) ratings of each item
    fixed = _fixed_difference(values, metric)
    within = (patterns @ fixed * patterns).sum(axis=1) / (m - 1)  # (P,)

    def alpha(times: Floats) -> Floats:
        all_ratings = times @ patterns  # (B, K)
        if metric == "ordinal":
            observed, expected = _rank_differences(times, patterns, all_ratings)
        else:
            observed = times @ within
            expected = (all_ratings @ fixed * all_ratings).sum(axis=1)
        observed = (all_ratings.sum(axis=1) - 1) * observed
        undefined = np.full_like(expected, np.nan)
        disagreement = np.divide(observed, expected, out=undefined, where=expected > 1e-12)
        return np.asarray(1 - disagreement, dtype=np.float64)

    name = f"Krippendorff's alpha ({metric})"
    return bootstrapped(alpha, frequency, name, blind=blind, level=level, draws=draws, seed=seed)


def _rank_differences(
    times: Floats, patterns: Floats, all_ratings: Floats
) -> tuple[Floats, Floats]:
    """Return within items and over all ratings the squared differences of mid-ranks, (B,) each."""
    n = all_ratings.sum(axis=1, keepdims=True)
    # Centred, to lose no digits.
    ranks = all_ratings.cumsum(axis=1) - all_ratings / 2 - n / 2  # (B, K)
    m = patterns.sum(axis=1)  # (P,)
    # Over ordered pairs of m values: 2 m sum x^2 - 2 (sum x)^2.
    within = 2 * m * (ranks**2 @ patterns.T) - 2 * (ranks @ patterns.T) ** 2  # (B, P)
    overall = 2 * n[:, 0] * (all_ratings * ranks**2).sum(axis=1)
    overall -= 2 * (all_ratings * ranks).sum(axis=1) ** 2
    return (times * within / (m - 1)).sum(axis=1), overall


def _by_item(ratings: Sequence[Sequence[Rating]], metric: str) -> tuple[np.ndarray, Floats]:
    """Return the different values and how often each item got each, of shape (n_items, K)."""
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
    given = [value for item in columns for value in item]
    if metric != "nominal":
        _check_numbers(given, metric)
    elif len({isinstance(value, str) for value in given}) > 1:
        raise ValueError("ratings mix names and numbers: give one kind")
    values, place = np.unique(np.array(given), return_inverse=True)
    item_of = np.repeat(np.arange(len(columns)), [len(item) for item in columns])
    table = np.zeros((len(columns), values.size))
    np.add.at(table, (item_of, place), 1.0)
    return values, table


def _check_numbers(given: Sequence[str | float], metric: str) -> None:
    wrong = [value for value in given if isinstance(value, str) or not np.isfinite(value)]
    if wrong:
        raise ValueError(f"{metric} ratings hold {wrong[0]!r}: give finite numbers or None")
    if metric == "ratio" and min(float(value) for value in given) < 0:
        raise ValueError("ratio ratings go below 0: use the interval metric")


def _fixed_difference(values: np.ndarray, metric: str) -> Floats:
    """Return the squared difference of each pair of values, of shape (K, K); 0 for ordinal."""
    if metric == "nominal":
        return 1 - np.eye(values.size)
    if metric == "ordinal":
        return np.zeros((values.size, values.size))
    x = values.astype(np.float64)
    difference = (x[:, None] - x) ** 2
    if metric == "interval":
        return np.asarray(difference, dtype=np.float64)
    whole = (x[:, None] + x) ** 2
    return np.divide(difference, whole, out=np.zeros_like(difference), where=whole > 0)
