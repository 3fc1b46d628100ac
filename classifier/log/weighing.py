"""From the readings of one weighing to a net mass with its resolution bounds, or a refusal.

Net = gross - tare. A scale of resolution d shows r for any mass within d/2 of r, and the
difference of two readings carries both tolerances (difference method: person with bag minus
person alone). "Below resolution" is any mass from 0 to d, not zero.
"""

from __future__ import annotations

from decimal import Decimal
from typing import get_args

from classifier.errors import ImpossibleWeighingError
from classifier.log.quantities import Mass, Reading
from classifier.log.records import Method, Weighing

METHODS: tuple[Method, ...] = get_args(Method)

_ZERO = Decimal(0)


def net_mass(weighing: Weighing) -> Mass:
    """Return the net mass of a weighing.

    A tare of `None` or 0 means that there was no container or that the scale was zeroed with the
    container on it: the gross reading is then the net one and alone carries a tolerance. The lower
    bound never goes below 0. A weighing below resolution has low 0, high d and, as its value, the
    middle d/2, which callers keep out of measured totals.

    Raises
    ------
    ImpossibleWeighingError
        If the readings can't belong to a weighing; the message says what to do.
    InvalidQuantityError
        If a reading is below 0 or a resolution is not above 0.
    """
    if weighing.method not in METHODS:
        raise ImpossibleWeighingError(
            f"weighing method {weighing.method!r} is not known: use one of {', '.join(METHODS)}",
            field="method",
            method=weighing.method,
        )
    if weighing.method == "below_resolution":
        return _below_resolution(weighing)
    if weighing.gross is None:
        raise ImpossibleWeighingError(
            "there is no gross weight: enter what the scale shows, or choose "
            "'too light for this scale'",
            field="gross",
        )
    gross = Reading(weighing.gross, weighing.unit, weighing.resolution, "gross")
    _check_capacity(weighing)
    tare_g, tare_half_g = _tare(weighing, gross)
    return _net(weighing, gross, tare_g, tare_half_g)


def _below_resolution(weighing: Weighing) -> Mass:
    """Return the bounds of a pile that did not move the display."""
    if weighing.gross is not None or weighing.tare is not None:
        raise ImpossibleWeighingError(
            "a pile that is too light for this scale has no reading: clear gross and tare, or "
            "choose the container method",
            field=("gross", "tare"),
            gross=str(weighing.gross),
            tare=str(weighing.tare),
        )
    step = Reading(_ZERO, weighing.unit, weighing.resolution)
    return Mass(step.half_resolution_g, _ZERO, 2 * step.half_resolution_g)


def _check_capacity(weighing: Weighing) -> None:
    """Refuse a reading over the most that the scale can carry."""
    if weighing.capacity is None:
        return
    if weighing.capacity <= 0:
        raise ImpossibleWeighingError(
            f"scale capacity {weighing.capacity} {weighing.unit} must be above 0: it is the most "
            "that the scale can carry; leave it empty if unknown",
            field="capacity",
            capacity=str(weighing.capacity),
        )
    if weighing.gross is not None and weighing.gross > weighing.capacity:
        raise ImpossibleWeighingError(
            f"gross {weighing.gross} {weighing.unit} is over the scale's capacity of "
            f"{weighing.capacity} {weighing.unit}: split the pile and weigh the parts",
            field=("gross", "capacity"),
            gross=str(weighing.gross),
            capacity=str(weighing.capacity),
        )


def _tare(weighing: Weighing, gross: Reading) -> tuple[Decimal, Decimal]:
    """Return the tare and its tolerance in grams."""
    if weighing.tare is None:
        if weighing.method == "difference":
            raise ImpossibleWeighingError(
                "the difference method needs two readings: enter the person with the bag as gross "
                "and the person alone as tare",
                field="tare",
            )
        return _ZERO, _ZERO
    unit = weighing.tare_unit or weighing.unit
    if weighing.tare_resolution is None:
        reading = Reading(weighing.tare, unit, weighing.resolution, "tare")
        half_g = gross.half_resolution_g
    else:
        reading = Reading(weighing.tare, unit, weighing.tare_resolution, "tare")
        half_g = reading.half_resolution_g
    if reading.grams == 0 and weighing.method == "container":
        return _ZERO, _ZERO
    return reading.grams, half_g


def _net(weighing: Weighing, gross: Reading, tare_g: Decimal, tare_half_g: Decimal) -> Mass:
    """Return gross minus tare, refusing nothing or less than nothing."""
    net_g = gross.grams - tare_g
    shown = f"gross {weighing.gross} {weighing.unit}, tare {weighing.tare or 0} " + str(
        weighing.tare_unit or weighing.unit
    )
    both = ("gross", "tare")
    details = {"gross_g": str(gross.grams), "tare_g": str(tare_g), "net_g": str(net_g)}
    if net_g < 0:
        raise ImpossibleWeighingError(
            f"{shown}: the tare is above the gross weight, so the net weight is below 0; check "
            "the units and which container it is, then weigh again",
            field=both,
            **details,
        )
    if net_g == 0:
        raise ImpossibleWeighingError(
            f"{shown}: the net weight is 0, which is less than this scale can tell; choose "
            "'too light for this scale', or weigh several batches together on a finer scale",
            field=both,
            **details,
        )
    half_g = gross.half_resolution_g + tare_half_g
    return Mass(net_g, max(_ZERO, net_g - half_g), net_g + half_g)
