"""Resin identification codes: what a number may and may not decide.

Source: ASTM D7611/D7611M, as shown by blog.ansi.org/2019/02/resin-identification-codes-rics-astm-
d7611/ and scribd.com/document/691978795. Confidence B: seen in a stored copy, not recomputed. The
standard says that the code is no "recycle code" and implies nothing about recyclability or about a
local programme. So a number may inform the material, and never by itself choose the route.
"""

from __future__ import annotations

import pytest

from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme, load_shipped_programmes
from classifier.rules.suggestion import suggest
from classifier.rules.suggestion_parts import Ranked, Thresholds
from tests.small_lists import rule_for

# number: abbreviation of the standard, categories of the typical objects in the same table
D7611 = {
    "1": ("PET", {"pet_bottles", "rigid_plastics"}),  # drink bottles; clamshells, trays, jars
    "2": ("HDPE", {"hdpe_bottles", "plastic_film"}),  # milk jugs, detergent bottles, some bags
    "3": ("PVC", {"other_plastic", "rigid_plastics"}),  # pipe, hoses; blister packs, some bottles
    "4": ("LDPE", {"plastic_film", "rigid_plastics"}),  # bags, film; squeeze bottles
    "5": ("PP", {"rigid_plastics", "other_plastic"}),  # tubs, caps, yogurt cups; straws
    "6": ("PS", {"foam_polystyrene", "rigid_plastics", "other_plastic"}),  # foam, cups, cutlery
    "7": ("other", {"composite_residual", "other_plastic"}),  # multilayer pouches; PC, PLA, acrylic
}
# polymers of one resin only: no other number of the table fits them
ONE_RESIN = {"pet_bottles": "1", "hdpe_bottles": "2", "foam_polystyrene": "6"}
LIMITS = Thresholds(route=0.8, stop=0.2, unsure=0.4, non_item=0.5)


@pytest.fixture(scope="module")
def categories() -> Categories:
    return load_categories()


@pytest.fixture(scope="module")
def programmes(categories: Categories) -> tuple[Programme, ...]:
    return load_shipped_programmes(categories)


def test_the_seven_numbers_and_their_abbreviations(categories: Categories) -> None:
    labels = {answer.id: answer.label for answer in categories.fact("resin").answers}
    assert set(labels) == {*D7611, "none"}
    for number, (abbreviation, _) in D7611.items():
        assert labels[number].startswith(number)
        assert abbreviation in labels[number]


@pytest.mark.parametrize("number", D7611)
def test_the_material_evidence_agrees_with_the_table(categories: Categories, number: str) -> None:
    for category in D7611[number][1]:
        assert categories.get(category).fits("resin", number), category
    for category, only in ONE_RESIN.items():
        assert categories.get(category).fits("resin", number) == (number == only), category
    for each in categories.categories:
        if each.group in {"paper", "metals", "glass"} and not each.stop:
            assert not each.fits("resin", number), each.id


def test_no_rule_maps_a_number_to_a_route_without_a_category(
    categories: Categories, programmes: tuple[Programme, ...]
) -> None:
    plastics = {category.id for category in categories.in_group("plastics")}
    by_number = [rule for p in programmes for rule in p.rules if "resin" in rule.when]
    assert by_number
    assert {rule.category for rule in by_number} <= plastics


def test_the_same_number_takes_different_routes_with_category_and_programme(
    programmes: tuple[Programme, ...],
) -> None:
    alder, port = programmes

    def routes(programme: Programme, number: str) -> set[str]:
        facts = {"resin": number, "deposit_mark": "no", "clean": "no"}
        rules = [
            rule_for(programme, each, facts)
            for each in ("rigid_plastics", "plastic_film", "other_plastic")
        ]
        return {rule.route for rule in rules if rule}

    for number in D7611:
        if number in "125":
            assert routes(port, number) == {"kerbside", "residual"}
        assert "residual" in routes(alder, number)
    assert routes(alder, "7") != routes(port, "7")


@pytest.mark.parametrize("number", D7611)
def test_a_number_on_a_photo_of_something_else_chooses_no_route(
    categories: Categories, programmes: tuple[Programme, ...], number: str
) -> None:
    """The photo shows a steel can; a number is answered all the same: nothing is decided."""
    maps = {each: {each: 1.0} for each in ("steel_cans", "rigid_plastics")}
    forms = [Ranked("steel_cans", 0.985), Ranked("rigid_plastics", 0.015)]
    for programme in programmes:
        found = suggest(forms, maps, categories, programme, LIMITS, facts={"resin": number})
        assert (found.decision, found.route) == ("unsure", None)


def test_no_text_puts_the_triangle_beside_the_word_recyclable(
    categories: Categories, programmes: tuple[Programme, ...]
) -> None:
    texts = [fact.how + fact.question for fact in categories.facts]
    texts += [t for c in categories.categories for t in (*c.belongs, *c.not_here)]
    texts += [like.tell for c in categories.categories for like in c.look_alikes]
    texts += [rule.note + rule.condition for p in programmes for rule in p.rules]
    for text in texts:
        assert "recyclable" not in text or "triangle" not in text, text
    assert "doesn't say that anybody takes it" in categories.fact("resin").how
