from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest

from classifier.errors import InvalidQuantityError
from classifier.log.quantities import (
    ZERO_MASS,
    Mass,
    Reading,
    Unit,
    check_days,
    check_persons,
    parse_count,
    parse_decimal,
    parse_unit,
    sum_masses,
)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("1.25", "1.25"),
        ("1,25", "1.25"),
        (" 12 ", "12"),
        ("1 250.5", "1250.5"),
        ("1\u00a0250,5", "1250.5"),
        ("12\u202f345", "12345"),
        ("0,250", "0.250"),
        ("1.250", "1.250"),
        ("1234,567", "1234.567"),
        (".5", "0.5"),
        (",5", "0.5"),
        ("5.", "5"),
        ("-3", "-3"),
        ("\u22123", "-3"),
        ("+3", "3"),
        ("123456.789012", "123456.789012"),
    ],
)
def test_decimals_are_read_with_either_mark(typed: str, meant: str) -> None:
    assert parse_decimal(typed, what="gross") == Decimal(meant)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "abc",
        "1.2.3",
        "1,250.5",
        "1e5",
        "nan",
        "inf",
        "--1",
        "1 25",
        "1  250",
        "١٢",
        "1_000",
        ".",
    ],
)
def test_what_is_no_plain_number_is_refused(typed: str) -> None:
    with pytest.raises(InvalidQuantityError, match=r"gross .* is not a plain number: write digits"):
        parse_decimal(typed, what="gross")


@pytest.mark.parametrize("typed", ["1,250", "12,250", "-999,000"])
def test_a_comma_before_three_digits_is_ambiguous(typed: str) -> None:
    with pytest.raises(InvalidQuantityError, match="can be read in two ways: write") as caught:
        parse_decimal(typed, what="tare")
    assert typed.replace(",", ".") in caught.value.message
    assert caught.value.details == {"what": "tare", "given": typed}


@pytest.mark.parametrize("typed", ["1234567890123", "1.2345678", "1234567.890123"])
def test_too_many_digits_are_refused(typed: str) -> None:
    with pytest.raises(InvalidQuantityError, match="too many digits: at most 12 in all and 6"):
        parse_decimal(typed, what="gross")


@pytest.mark.parametrize(("given", "number"), [(1, 1), ("7", 7), (" 12 ", 12), (100_000, 100_000)])
def test_counts(given: object, number: int) -> None:
    assert parse_count(given) == number


@pytest.mark.parametrize("given", [0, -1, 100_001, "0", "-5"])
def test_counts_out_of_range(given: object) -> None:
    with pytest.raises(InvalidQuantityError, match=r"count .* is out of range: write a whole"):
        parse_count(given)


@pytest.mark.parametrize("given", ["1.5", "", "two", 1.0, True, None, "1" * 13])
def test_counts_that_are_no_whole_number(given: object) -> None:
    with pytest.raises(InvalidQuantityError, match="is not a whole number: write one from 1 to"):
        parse_count(given)


def test_days_and_persons_have_limits_of_their_own() -> None:
    assert check_days("366") == 366
    assert check_persons(100_000) == 100_000
    with pytest.raises(InvalidQuantityError, match="days of discards 367 is out of range"):
        check_days(367)
    with pytest.raises(InvalidQuantityError, match="persons 0 is out of range"):
        check_persons(0)


def test_units() -> None:
    assert parse_unit(" KG ") is Unit.KG
    with pytest.raises(InvalidQuantityError, match="unit 'stone' is not known: use one of kg, g,"):
        parse_unit("stone")


def test_a_reading_is_converted_exactly() -> None:
    reading = Reading(Decimal("2.5"), Unit.LB, Decimal("0.1"))
    assert reading.grams == Decimal("1133.980925")
    assert reading.half_resolution_g == Decimal("22.6796185")


@pytest.mark.parametrize("typed", ["-0", "-0.00", "-,0", "\u22120"])
def test_minus_nothing_is_nothing(typed: str) -> None:
    assert not parse_decimal(typed, what="tare").is_signed()


@pytest.mark.parametrize(
    ("value", "resolution", "message"),
    [
        ("1", "0", "scale resolution 0 kg must be above 0"),
        ("1", "-0.1", "scale resolution -0.1 kg must be above 0"),
        ("1", "NaN", "scale resolution NaN kg must be above 0"),
        ("-0.01", "0.01", "weight -0.01 kg is below 0 or no number: zero the scale"),
        ("Infinity", "0.01", "weight Infinity kg is below 0 or no number"),
        ("100000.1", "0.1", "weight 100000.1 kg is above 100 tonnes: check the unit"),
    ],
)
def test_impossible_readings(value: str, resolution: str, message: str) -> None:
    with pytest.raises(InvalidQuantityError, match=message):
        Reading(Decimal(value), Unit.KG, Decimal(resolution))


def test_masses_add_bound_by_bound() -> None:
    a = Mass(Decimal(10), Decimal(9), Decimal(12))
    b = Mass(Decimal(1), Decimal(0), Decimal(2))
    assert sum_masses([a, b]) == a + b == Mass(Decimal(11), Decimal(9), Decimal(14))
    assert sum_masses(()) == ZERO_MASS


@pytest.mark.parametrize(
    ("refused", "fields"),
    [
        (lambda: parse_decimal("x", what="tare"), ("tare",)),
        (lambda: parse_decimal("x", what="tare resolution", field="step"), ("step",)),
        (lambda: parse_decimal("1.0000001", what="gross"), ("gross",)),
        (lambda: parse_unit("stone"), ("unit",)),
        (lambda: check_days("0"), ("days",)),
        (lambda: check_persons("many"), ("persons",)),
        (lambda: Reading(Decimal(-1), Unit.KG, Decimal(1), "gross"), ("gross",)),
        (lambda: Reading(Decimal(1), Unit.KG, Decimal(0)), ("resolution",)),
    ],
)
def test_a_refusal_names_the_field_that_it_is_about(
    refused: Callable[[], object], fields: tuple[str, ...]
) -> None:
    with pytest.raises(InvalidQuantityError) as caught:
        refused()
    assert caught.value.fields == fields
