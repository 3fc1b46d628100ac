"""Numbers as a person reads them off a scale or types them, and what they stand for.

A reading is kept as it was read: a decimal, a unit and the scale's resolution. Conversion to grams
is exact, because every unit here is defined as an exact number of grams (NIST SP 811, Appendix B;
the pound has been 0.45359237 kg exactly since 1959). A scale of resolution d that shows r means a
mass between r - d/2 and r + d/2; a difference of two readings carries both tolerances.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from classifier.errors import InvalidQuantityError

MAX_COUNT = 100_000
MAX_DAYS = 366
MAX_LOADS = 99
MAX_PERSONS = 100_000
MAX_DIGITS = 12
MAX_DECIMALS = 6
# Together with the limits above this keeps every conversion and sum within the 28 digits of
# Python's decimal context, so totals are exact and can't depend on the order of the rows.
MAX_READING_G = Decimal("100_000_000")

_SPACES = re.compile(r"[\u0020\u00a0\u2009\u202f]")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[\u0020\u00a0\u2009\u202f][0-9]{3})+(?:[.,][0-9]+)?")
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_AMBIGUOUS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_WHOLE = re.compile(r"[+-]?[0-9]+")


class Unit(StrEnum):
    """A unit of mass that a scale may show."""

    KG = "kg"
    G = "g"
    LB = "lb"
    OZ = "oz"

    @property
    def grams(self) -> Decimal:
        """Grams in one of this unit, exact by definition (NIST SP 811)."""
        return _GRAMS[self]


_GRAMS = {
    Unit.KG: Decimal("1000"),
    Unit.G: Decimal("1"),
    Unit.LB: Decimal("453.59237"),
    Unit.OZ: Decimal("28.349523125"),
}


def parse_unit(text: str) -> Unit:
    """Return the unit that `text` names, in any case and with spaces around it.

    Raises
    ------
    InvalidQuantityError
        If it is none of kg, g, lb, oz.
    """
    try:
        return Unit(text.strip().lower())
    except ValueError:
        allowed = ", ".join(Unit)
        raise InvalidQuantityError(
            f"unit {text!r} is not known: use one of {allowed}",
            field="unit",
            given=text,
            allowed=list(Unit),
        ) from None


def parse_decimal(text: str, *, what: str, field: str = "") -> Decimal:
    """Return the number typed as `text`; `what` names it in messages, `field` if called otherwise.

    Both decimal marks are taken (1.25 and 1,25) and spaces may group thousands (1 250.5). A comma
    before exactly three digits (1,250) is refused: half the world reads it as one and a quarter,
    the other half as a thousand more, and a scale pile can be either. 0,250 has one meaning only.

    Raises
    ------
    InvalidQuantityError
        If it is no plain number, is ambiguous, or has more than 12 digits or 6 decimals.
    """
    stripped = text.strip().replace("\u2212", "-")
    if not (_PLAIN.fullmatch(stripped) or _GROUPED.fullmatch(stripped)):
        raise InvalidQuantityError(
            f"{what} {text!r} is not a plain number: write digits with one decimal mark, "
            "such as 1.25, without a unit",
            field=field or what,
            what=what,
            given=text,
        )
    if _AMBIGUOUS.fullmatch(stripped):
        whole = stripped.replace(",", "")
        point = stripped.replace(",", ".")
        raise InvalidQuantityError(
            f"{what} {text!r} can be read in two ways: write {point} or {whole}",
            field=field or what,
            what=what,
            given=text,
        )
    value = Decimal(_SPACES.sub("", stripped).replace(",", "."))
    _check_digits(value, text, what, field or what)
    return value if value else abs(value)  # "-0" is nothing but 0


def _check_digits(value: Decimal, text: str, what: str, field: str) -> None:
    """Refuse more digits than any scale shows: they come from a slip of the keyboard."""
    parts = value.as_tuple()
    decimals = -int(parts.exponent)
    if len(parts.digits) > MAX_DIGITS or decimals > MAX_DECIMALS:
        raise InvalidQuantityError(
            f"{what} {text!r} has too many digits: at most {MAX_DIGITS} in all and "
            f"{MAX_DECIMALS} after the decimal mark; write what the scale shows",
            field=field,
            what=what,
            given=text,
        )


def parse_count(
    value: object, *, what: str = "count", field: str = "", most: int = MAX_COUNT
) -> int:
    """Return a whole number of things from 1 to `most`, given as an integer or as typed.

    `what` names it in messages, `field` where the entry calls it otherwise.

    Raises
    ------
    InvalidQuantityError
        If it is no whole number or outside the range.
    """
    if isinstance(value, str) and _WHOLE.fullmatch(value.strip()) and len(value) <= MAX_DIGITS:
        number = int(value)
    elif isinstance(value, int) and not isinstance(value, bool):
        number = value
    else:
        raise InvalidQuantityError(
            f"{what} {value!r} is not a whole number: write one from 1 to {most}",
            field=field or what,
            what=what,
            given=value,
        )
    if not 1 <= number <= most:
        raise InvalidQuantityError(
            f"{what} {number} is out of range: write a whole number from 1 to {most}",
            field=field or what,
            what=what,
            given=number,
        )
    return number


def check_days(value: object) -> int:
    """Return the days over which the discards accumulated, 1 to 366.

    Raises
    ------
    InvalidQuantityError
        If it is no whole number or outside the range.
    """
    return parse_count(value, what="days of discards", field="days", most=MAX_DAYS)


def check_persons(value: object) -> int:
    """Return the number of persons whose discards these are, 1 to 100,000.

    Raises
    ------
    InvalidQuantityError
        If it is no whole number or outside the range.
    """
    return parse_count(value, what="persons", most=MAX_PERSONS)


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a scale: `value` and `resolution` are in `unit`, both as read.

    Raises
    ------
    InvalidQuantityError
        If the value is below 0 or above 100 tonnes, or the resolution is not above 0.
    """

    value: Decimal
    unit: Unit
    resolution: Decimal
    field: str = "weight"
    """What the entry calls the value."""

    def __post_init__(self) -> None:
        """Refuse what no scale can show."""
        if not self.resolution.is_finite() or self.resolution <= 0:
            raise InvalidQuantityError(
                f"scale resolution {self.resolution} {self.unit} must be above 0: it is the "
                "smallest step that the display makes, such as 0.01 kg",
                field="resolution",
                given=str(self.resolution),
            )
        if not self.value.is_finite() or self.value < 0:
            raise InvalidQuantityError(
                f"weight {self.value} {self.unit} is below 0 or no number: zero the scale and "
                "weigh again",
                field=self.field,
                given=str(self.value),
            )
        if self.grams > MAX_READING_G:
            raise InvalidQuantityError(
                f"weight {self.value} {self.unit} is above 100 tonnes: check the unit",
                field=self.field,
                given=str(self.value),
            )

    @property
    def grams(self) -> Decimal:
        """The reading in grams, exact."""
        return self.value * self.unit.grams

    @property
    def half_resolution_g(self) -> Decimal:
        """Half the resolution in grams: the mass lies within this of the reading."""
        return self.resolution * self.unit.grams / 2


@dataclass(frozen=True, slots=True)
class Mass:
    """A measured mass in grams with the bounds that the scale's resolution sets.

    Bounds add when masses add: they hold for certain, as a worst case, and are no confidence
    interval (tolerances of many weighings partly cancel; this does not count on it).
    """

    value_g: Decimal
    low_g: Decimal
    high_g: Decimal

    def __add__(self, other: Mass) -> Mass:
        """Return the sum, bound by bound."""
        return Mass(
            self.value_g + other.value_g, self.low_g + other.low_g, self.high_g + other.high_g
        )


ZERO_MASS = Mass(Decimal(0), Decimal(0), Decimal(0))


def sum_masses(masses: list[Mass] | tuple[Mass, ...]) -> Mass:
    """Return the sum of `masses`, `ZERO_MASS` for none."""
    return sum(masses, start=ZERO_MASS)
