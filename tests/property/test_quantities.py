"""Properties of readings and typed numbers."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from classifier.errors import InvalidQuantityError
from classifier.log.quantities import MAX_COUNT, Reading, Unit, parse_count, parse_decimal

numbers = st.decimals(min_value=0, max_value=99_999, places=3, allow_nan=False)
units = st.sampled_from(list(Unit))


@given(numbers, units, units)
def test_conversion_there_and_back_is_exact_to_the_digits_of_a_scale(
    value: Decimal, first: Unit, second: Unit
) -> None:
    grams = Reading(value, first, Decimal("0.01")).grams
    back = grams / second.grams * second.grams / first.grams
    assert round(back, 9) == value


@given(numbers, units, st.integers(1, 1000))
def test_grams_scale_with_the_value(value: Decimal, unit: Unit, times: int) -> None:
    one = Reading(value / times, unit, Decimal("0.01")).grams
    assert abs(one * times - Reading(value, unit, Decimal("0.01")).grams) < Decimal("1e-15")


@given(numbers)
def test_what_is_written_is_read_with_either_decimal_mark(value: Decimal) -> None:
    text = f"{value:.3f}"
    assert parse_decimal(text, what="gross") == value
    comma = text.replace(".", ",")
    ambiguous = text[0] != "0" and len(text.split(".")[0]) <= 3
    if ambiguous:
        with pytest.raises(InvalidQuantityError, match="can be read in two ways"):
            parse_decimal(comma, what="gross")
    else:
        assert parse_decimal(comma, what="gross") == value


@given(st.decimals(min_value=0, max_value=999_999_999, places=2, allow_nan=False))
def test_spaces_group_thousands(value: Decimal) -> None:
    assert parse_decimal(f"{value:,.2f}".replace(",", "\u202f"), what="gross") == value


@given(st.text(max_size=12))
def test_any_text_is_a_number_or_refused(text: str) -> None:
    try:
        value = parse_decimal(text, what="gross")
    except InvalidQuantityError:
        return
    assert value.is_finite()
    assert any(digit in text for digit in "0123456789")


@given(st.one_of(st.text(max_size=8), st.integers(), st.floats(), st.none(), st.booleans()))
def test_any_count_is_in_range_or_refused(value: object) -> None:
    try:
        count = parse_count(value)
    except InvalidQuantityError:
        return
    assert 1 <= count <= MAX_COUNT
    assert int(str(value)) == count
