"""What an estimator returns: a value that can't be shown without saying where it is from."""

from __future__ import annotations

import math
from dataclasses import dataclass

from classifier.estimators._checks import level_of


@dataclass(frozen=True, slots=True)
class Estimate:
    """An estimate with its interval; never to be added to a measured total.

    Parameters
    ----------
    value : float
        The point estimate, in `unit`.
    low, high : float
        Ends of the interval, in `unit`; may be infinite. They need not enclose the value: a
        percentile interval of a skewed statistic can lie beside it.
    level : float
        Confidence level of the interval, between 0 and 1.
    unit : str
        "1" for a fraction, else a unit such as "g".
    method : str
        Name of estimator and interval.
    n : int
        Number of independent units (samples, batches, groups) behind it, at least 1.
    assumptions : tuple of str
        What must hold for value and interval to mean what they say.

    Raises
    ------
    ValueError
        If the value or an end is not a number, low is above high, the level lies outside 0 to 1, or
        n is below 1.

    Examples
    --------
    >>> Estimate(0.5, 0.4, 0.6, 0.90, "1", "Wilson", 100, ("independent",)).high
    0.6
    """

    value: float
    low: float
    high: float
    level: float
    unit: str
    method: str
    n: int
    assumptions: tuple[str, ...]

    def __post_init__(self) -> None:
        """Refuse what is no estimate."""
        level_of(self.level)
        if any(math.isnan(number) for number in (self.value, self.low, self.high)):
            raise ValueError(f"{self.method}: value or interval is not a number; check the input")
        if self.low > self.high:
            raise ValueError(f"{self.method}: low {self.low} is above high {self.high}")
        if self.n < 1:
            raise ValueError(f"{self.method}: n is {self.n}; an estimate rests on at least 1 unit")
