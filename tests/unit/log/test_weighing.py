from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any, cast

import pytest

from classifier.errors import ImpossibleWeighingError, InvalidQuantityError, TallytareError
from classifier.log.quantities import Mass, Unit
from classifier.log.records import Method
from classifier.log.weighing import net_mass
from tests.unit.rows import a_weighing, too_light


def mass(value: str, low: str, high: str) -> Mass:
    return Mass(Decimal(value), Decimal(low), Decimal(high))


def test_container_carries_the_tolerance_of_both_readings() -> None:
    assert net_mass(a_weighing("w", gross="1.25", tare="0.25")) == mass("1000", "990", "1010")


@pytest.mark.parametrize("tare", [None, "0"])
def test_without_a_tare_only_the_gross_reading_has_a_tolerance(tare: str | None) -> None:
    assert net_mass(a_weighing("w", gross="1.25", tare=tare)) == mass("1250", "1245", "1255")


def test_tare_in_its_own_unit_and_resolution() -> None:
    weighing = a_weighing("w", tare="250", tare_unit=Unit.G, tare_resolution="2")
    assert net_mass(weighing) == mass("1000", "994", "1006")


def test_tare_without_a_resolution_has_that_of_the_gross_scale_in_grams() -> None:
    weighing = a_weighing("w", tare="250", tare_unit=Unit.G)
    assert net_mass(weighing) == mass("1000", "990", "1010")


def test_difference_method_takes_both_tolerances_even_on_a_bathroom_scale() -> None:
    weighing = a_weighing("w", gross="75.3", tare="71.2", resolution="0.1", method="difference")
    assert net_mass(weighing) == mass("4100", "4000", "4200")


def test_a_net_lighter_than_its_tolerance_has_no_bound_below_zero() -> None:
    weighing = a_weighing("w", gross="71.3", tare="71.2", resolution="0.2", method="difference")
    assert net_mass(weighing) == mass("100", "0", "300")


def test_below_resolution_is_from_nothing_to_one_step() -> None:
    assert net_mass(too_light("w", resolution="0.05")) == mass("25", "0", "50")


def test_pounds_and_ounces() -> None:
    weighing = a_weighing("w", gross="2", tare="4", unit=Unit.LB, tare_unit=Unit.OZ)
    assert net_mass(weighing).value_g == Decimal("793.7866475")


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"gross": None}, "there is no gross weight: enter what the scale shows"),
        ({"tare": "1.30"}, "gross 1.25 kg, tare 1.30 kg: the tare is above the gross weight"),
        ({"tare": "1.25"}, "the net weight is 0, which is less than this scale can tell"),
        ({"gross": "0", "tare": None}, "gross 0 kg, tare 0 kg: the net weight is 0"),
        ({"capacity": "1"}, "gross 1.25 kg is over the scale's capacity of 1 kg: split the pile"),
        ({"capacity": "0"}, "scale capacity 0 kg must be above 0"),
        ({"method": "difference", "tare": None}, "the difference method needs two readings"),
        ({"method": "difference", "tare": "1.25"}, "the net weight is 0"),
        (
            {"method": "below_resolution"},
            "a pile that is too light for this scale has no reading: clear gross and tare",
        ),
        ({"method": "below_resolution", "gross": None}, "has no reading: clear gross and tare"),
    ],
)
def test_impossible_weighings_say_what_to_do(given: dict[str, str | None], message: str) -> None:
    fields = {**{"gross": "1.25", "tare": "0.25"}, **given}
    numbers = {
        name: None if text is None else Decimal(text)
        for name, text in fields.items()
        if name != "method"
    }
    method = cast("Method", fields.get("method", "container"))
    with pytest.raises(ImpossibleWeighingError, match=message):
        net_mass(replace(a_weighing("w"), method=method, **numbers))  # type: ignore[arg-type]


def test_an_unknown_method_is_refused() -> None:
    with pytest.raises(ImpossibleWeighingError, match="method 'guess' is not known: use one of co"):
        net_mass(a_weighing("w", method=cast("Method", "guess")))


def test_a_reading_at_capacity_is_allowed() -> None:
    assert net_mass(a_weighing("w", capacity="1.25")).value_g == 1000


@pytest.mark.parametrize("field", ["tare", "gross"])
def test_readings_below_zero_are_refused(field: str) -> None:
    with pytest.raises(InvalidQuantityError, match="is below 0 or no number: zero the scale"):
        net_mass(replace(a_weighing("w"), **{field: Decimal("-0.1")}))  # type: ignore[arg-type]


def test_a_tare_resolution_of_zero_is_refused_and_not_taken_for_none() -> None:
    with pytest.raises(InvalidQuantityError, match="scale resolution 0 kg must be above 0"):
        net_mass(a_weighing("w", tare_resolution="0"))


def test_refusals_carry_the_numbers() -> None:
    with pytest.raises(ImpossibleWeighingError) as caught:
        net_mass(a_weighing("w", tare="1.30"))
    assert caught.value.details == {"gross_g": "1250.00", "tare_g": "1300.00", "net_g": "-50.00"}


@pytest.mark.parametrize(
    ("given", "fields"),
    [
        ({"gross": None}, ("gross",)),
        ({"gross": "-1"}, ("gross",)),
        ({"tare": "-1"}, ("tare",)),
        ({"gross": "0.2"}, ("gross", "tare")),
        ({"method": "difference", "tare": None}, ("tare",)),
        ({"method": "below_resolution"}, ("gross", "tare")),
    ],
)
def test_a_refusal_names_the_readings_that_it_is_about(
    given: dict[str, Any], fields: tuple[str, ...]
) -> None:
    with pytest.raises(TallytareError) as caught:
        net_mass(a_weighing("w1", **given))
    assert caught.value.fields == fields
