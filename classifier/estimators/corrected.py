"""What a correction of counts returns: a share and a count by category, with caveats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from classifier.estimators._checks import Floats
from classifier.estimators.result import Estimate

# Below this many verified items a normal or score interval of one stratum is a rough guide only.
FEW_VERIFIED = 5  # common practice, no source


@dataclass(frozen=True, slots=True)
class Caveat:
    """A doubt about an estimate: `code` for programs, `text` for people."""

    code: str
    text: str


ANCHORED = Caveat(
    "anchored",
    "The verified labels were chosen after the suggestion was seen. People tend to agree with what "
    "they are shown, so the correction is too small: use audits, where the sorter chooses first.",
)


def label_caveats(blind: bool) -> tuple[Caveat, ...]:
    """Return the caveat about labels that were not chosen blind, if any."""
    return () if blind else (ANCHORED,)


@dataclass(frozen=True, slots=True)
class Correction:
    """Corrected shares (unit "1") and counts (unit "items"), one for each of `categories`.

    The counts are the shares times the number of items, and not rounded. Show the caveats with the
    numbers.

    Examples
    --------
    >>> one = corrected(["can"], np.ones(1), (np.ones(1), np.ones(1)), 5.0,
    ...                 level=0.9, method="m", n=3, assumptions=(), caveats=())
    >>> one.counts[0].value, one.counts[0].unit
    (5.0, 'items')
    """

    categories: tuple[str, ...]
    shares: tuple[Estimate, ...]
    counts: tuple[Estimate, ...]
    caveats: tuple[Caveat, ...]


def corrected(
    categories: Sequence[str],
    shares: Floats,
    ends: tuple[Floats, Floats],
    items: float,
    *,
    level: float,
    method: str,
    n: int,
    assumptions: tuple[str, ...],
    caveats: Sequence[Caveat],
) -> Correction:
    """Return the correction with its shares scaled to counts; arrays have one entry a category."""
    by_unit = {
        unit: tuple(
            Estimate(times * p, times * low, times * high, level, unit, method, n, assumptions)
            for p, low, high in zip(shares.tolist(), *(end.tolist() for end in ends), strict=True)
        )
        for unit, times in (("1", 1.0), ("items", float(items)))
    }
    return Correction(
        categories=tuple(categories),
        shares=by_unit["1"],
        counts=by_unit["items"],
        caveats=(*caveats, *range_caveats(categories, shares, ends)),
    )


def range_caveats(
    names: Sequence[str], values: Floats, ends: tuple[Floats, Floats]
) -> tuple[Caveat, ...]:
    """Return what is odd about intervals of fractions: ends outside 0 to 1, or no width."""
    low, high = ends
    found = []
    outside = (low < -1e-12) | (high > 1 + 1e-12)
    if outside.any():
        found.append(
            Caveat(
                "outside_range",
                "An interval reaches below 0 or above 1 and was left so, as it shows that too "
                f"little was verified for a normal interval: {listed(names, outside)}.",
            )
        )
    none = (high - low < 1e-12) & (values > 0) & (values <= 1)
    if none.any():
        found.append(
            Caveat(
                "no_width",
                "An interval has no width. That is right if everything was verified; else it only "
                f"says that no error was met in few checks: {listed(names, none)}.",
            )
        )
    return tuple(found)


def few_verified(names: Sequence[str], verified: Floats, sizes: Floats) -> tuple[Caveat, ...]:
    """Return a caveat naming the strata that were hardly verified."""
    few = (verified < FEW_VERIFIED) & (verified < sizes)
    if not few.any():
        return ()
    return (
        Caveat(
            "few_verified",
            f"Fewer than {FEW_VERIFIED} verified, so the interval is a rough guide: "
            f"{listed(names, few)}.",
        ),
    )


def listed(names: Sequence[str], chosen: np.ndarray) -> str:
    """Return the chosen names, comma-separated."""
    return ", ".join(name for name, yes in zip(names, chosen, strict=True) if yes)
