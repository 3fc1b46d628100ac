"""The list of categories: what ships is whole, and every mistake in a list is named."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from classifier.errors import DataFileError, UnknownIdError
from classifier.rules.categories import load_categories
from classifier.rules.category_parts import NOT_SURE, Categories
from tests.small_lists import CATEGORIES, small_categories

STOP = {
    "aerosols",
    "gas_cylinders",
    "broken_glass",
    "batteries",
    "smoke_alarms",
    "lamps",
    "chemicals",
    "unknown_liquids",
    "medicines",
    "sharps",
}


@pytest.fixture(scope="module")
def shipped() -> Categories:
    return load_categories()


def test_the_shipped_list_has_two_levels_in_the_words_of_the_trade(shipped: Categories) -> None:
    assert [group.id for group in shipped.groups] == [
        *("paper", "plastics", "metals", "glass", "organics", "textiles", "reusable", "wood"),
        *("special", "residual"),
    ]
    assert len(shipped.categories) >= 36
    for group in shipped.groups:
        assert shipped.in_group(group.id), group.id
    assert sum(len(shipped.in_group(g.id)) for g in shipped.groups) == len(shipped.categories)
    assert shipped.get("cartons").group == "paper"
    assert [each.id for each in shipped.in_group("glass")] == [
        *("glass_bottles_jars", "broken_glass", "other_glass_ceramics"),
    ]


def test_a_sorter_who_is_unsure_finds_help_in_every_category(shipped: Categories) -> None:
    for category in shipped.categories:
        assert len(category.belongs) >= 2, category.id
        assert category.not_here, category.id
        assert category.look_alikes, category.id
        for text in (*category.belongs, *category.not_here):
            assert len(text) > 3, (category.id, text)
        for like in category.look_alikes:
            assert len(like.tell) > 30, (category.id, like)


def test_stop_categories_say_stop_first_and_set_aside(shipped: Categories) -> None:
    assert {each.id for each in shipped.categories if each.stop} == STOP
    for category_id in STOP:
        first = shipped.cautions_of(shipped.get(category_id))[0].text
        assert first.startswith("Stop."), category_id
        assert re.search(r"set (it|this|them) aside", first), category_id
        assert re.search(r"[Dd]on't|never", first), category_id


def test_no_text_of_a_stop_category_tells_to_handle_it(shipped: Categories) -> None:
    """Sharps, chemicals and the like: nobody is to open, smell or press anything to find out."""
    orders = re.compile(r"(^|[.:;] )(Open|Empty|Squeeze|Pierce|Burn|Taste|Smell|Shake)\b")
    for category_id in STOP:
        category = shipped.get(category_id)
        texts = [like.tell for like in category.look_alikes]
        texts += [caution.text for caution in shipped.cautions_of(category)]
        assert not [text for text in texts if orders.search(text)], category_id


def test_the_four_hand_tests_stand_where_they_help(shipped: Categories) -> None:
    def tell(category: str, other: str) -> str:
        return next(x.tell for x in shipped.get(category).look_alikes if x.category == other)

    assert "magnet" in tell("steel_cans", "aluminium_cans").lower()
    assert "scrunch" in tell("foil_trays", "plastic_film").lower()
    assert "tear" in tell("paperboard", "cartons").lower()
    assert "wavy" in tell("corrugated_cardboard", "paperboard")
    assert "neck narrower than the body" in tell("pet_bottles", "rigid_plastics").lower()
    assert "number 1 against 2" in tell("pet_bottles", "hdpe_bottles").lower()


def test_evidence_of_the_shipped_list(shipped: Categories) -> None:
    assert shipped.get("steel_cans").fits("magnetic", "yes")
    assert not shipped.get("steel_cans").fits("magnetic", "no")
    assert not shipped.get("aluminium_cans").fits("magnetic", "yes")
    assert not shipped.get("pet_bottles").fits("resin", "2")
    assert shipped.get("other_metal").fits("magnetic", "no")  # both kinds: no evidence
    assert not any(shipped.get(each).evidence for each in STOP)


def test_every_fact_can_be_answered_and_found_out(shipped: Categories) -> None:
    wanted = "resin magnetic empty clean lined scrunch deposit_mark reusable soiled_with_food"
    assert set(wanted.split()) <= {fact.id for fact in shipped.facts}
    for fact in shipped.facts:
        assert fact.question.endswith("?"), fact.id
        assert fact.how, fact.id
        assert NOT_SURE not in {answer.id for answer in fact.answers}
    tests = {fact.id for fact in shipped.facts if fact.tells_material}
    assert tests == {"resin", "magnetic", "scrunch", "lined"}


def test_unknown_ids_say_what_is_allowed(shipped: Categories) -> None:
    with pytest.raises(UnknownIdError, match=r'no category is called "tin".*choose one') as error:
        shipped.get("tin")
    assert error.value.details == {"category": "tin"}
    assert not shipped.has("tin")
    assert shipped.has("food")
    with pytest.raises(UnknownIdError, match=r'no fact is called "weight"; known facts: resin, '):
        shipped.fact("weight")
    with pytest.raises(
        UnknownIdError, match=r'"8" is no answer to "resin"; allowed: 1, .*not_sure'
    ):
        shipped.fact("resin").answer("8")
    assert shipped.fact("resin").answer("5").label == "5 (PP)"


def test_known_answers_checks_all_and_drops_the_unsure(shipped: Categories) -> None:
    facts = {"magnetic": "no", "clean": NOT_SURE, "resin": "5"}
    assert list(shipped.known_answers(facts).items()) == [("resin", "5"), ("magnetic", "no")]
    with pytest.raises(UnknownIdError, match="no fact"):
        shipped.known_answers({"weight": NOT_SURE})
    with pytest.raises(UnknownIdError, match="no answer"):
        shipped.known_answers({"magnetic": "maybe"})


def test_a_small_list_is_read_as_written(tmp_path: Path) -> None:
    small = small_categories(tmp_path)
    assert small.version == "9"
    steel = small.get("steel")
    assert (steel.name, steel.group, steel.belongs, steel.not_here, steel.stop) == (
        *("Steel cans", "things", ("Food tins",), (), False),
    )
    assert steel.evidence == {"magnetic": frozenset({"yes"}), "number": frozenset({"none"})}
    assert [(like.category, like.tell) for like in steel.look_alikes] == [
        ("alu", "A magnet sticks to steel.")
    ]
    assert [caution.id for caution in small.cautions_of(steel)] == ["edges"]
    assert small.handling_of(steel) == ()
    assert small.get("cell").stop
    assert [fact.tells_material for fact in small.facts] == [True, False, True]


MISTAKES = [
    # what to replace, by what, lines from there to the mistake, what is said, the mend
    ('group = "things"\nname = "Film"', 'group = "x"\nname = "Film"', 0, "unknown group", "things"),
    ('cautions = ["edges"]', 'cautions = ["edgs"]', 0, 'unknown caution "edgs"', '"edges"?'),
    ('category = "alu"', 'category = "allu"', 0, 'unknown category "allu"', '"alu"?'),
    ('category = "alu"', 'category = "steel"', 0, "its own look-alike", "another one"),
    ('{ magnetic = ["no"] }', '{ magnet = ["no"] }', 0, 'unknown fact "magnet"', '"magnetic"?'),
    ('{ magnetic = ["no"] }', '{ magnetic = ["nope"] }', 0, 'answer to "magnetic" "nope"', '"no"?'),
    ('{ magnetic = ["no"] }', "{ magnetic = [] }", 0, '"magnetic" is missing', "Add magnetic"),
    ('belongs = ["Bags"]', "belongs = []", 0, '"belongs" is missing or empty', "Add belongs"),
    ('cautions = ["fire"]\n', "", -5, "a stop category without a caution", "Add cautions"),
    ("stop = true", "stop = true\nevidence.magnetic = 'no'", 1, "stop category with", "Take the"),
    ("stop = true", "stop = true\nstp = true", 1, 'unknown key "stp"', '"stop"?'),
    ('id = "film"', 'id = "tub"', 0, 'category "tub" is already on line 48', "another id"),
    ('id = "edges"', 'id = "fire"', 0, 'caution "fire" is already on line 6', "another id"),
    (', { id = "no", label = "No" }]', "]", 0, "two answers or more", "Add answer"),
    ('{ id = "2"', '{ id = "1"', 0, 'answer "1" is already on line 17', "another id"),
    ('{ id = "2"', '{ id = "not_sure"', 0, '"not_sure" is an answer of every', "Take this"),
    ("stop = true", 'stop = true\nasked = "fire"', 1, 'unknown fact "fire"', "Use one of"),
    ("stop = true", 'stop = true\nasked = "number"', 1, "are not yes and no", "Ask a fact"),
    ('cautions = ["edges"]', 'asked = "deposit"', 0, "only a stop category is asked", "Take it"),
    ('cautions = ["edges"]', 'handling = ["edgs"]', 0, 'unknown caution "edgs"', '"edges"?'),
    ('name = "Deposit"', 'name = "D"\nassumed = "maybe"', 1, 'unknown answer "maybe"', "Use one"),
    ('belongs = ["Bags"]', 'belongs = ["B"]\nwords = ["bag", "bags"]', 1, "stands twice", "count"),
    ('belongs = ["Bags"]', 'belongs = ["B"]\nwords = ["of the"]', 1, "no name that", "Write"),
    ('version = "9"', "version = 9", 0, '"version" is not a text', "in quotes"),
    ('version = "9"', 'version = "9"\nvrsion = "9"', 1, 'unknown key "vrsion"', '"version"?'),
]


@pytest.mark.parametrize(("old", "new", "below", "what", "mend"), MISTAKES)
def test_each_mistake_in_a_list_is_named(
    tmp_path: Path, old: str, new: str, below: int, what: str, mend: str
) -> None:
    before, found, after = CATEGORIES.partition(old)
    assert found
    line = before.count("\n") + 1 + below
    with pytest.raises(DataFileError) as error:
        small_categories(tmp_path, before + new + after)
    assert f"list.toml, line {line}: " in error.value.message
    assert what in error.value.message
    assert mend in error.value.message


def test_an_empty_list_names_all_that_is_missing(tmp_path: Path) -> None:
    with pytest.raises(DataFileError) as error:
        small_categories(tmp_path, 'version = "1"\n')
    for kind in ("group", "caution", "fact", "category"):
        assert f"there is no [[{kind}]]" in error.value.message


def test_ordinary_piles_bear_their_cautions_once_and_hazards_always(shipped: Categories) -> None:
    every_time = {each.id for each in shipped.categories if each.cautions}
    assert every_time == STOP | {"electronics", "nappies_hygiene"}
    bottles = shipped.get("pet_bottles")
    assert [each.id for each in shipped.handling_of(bottles)] == ["contents"]
    for each in shipped.categories:
        assert "lifting" not in each.cautions, each.id
        assert not {*each.cautions} & {*each.handling}, each.id


def test_every_hazard_can_be_asked_about_by_looking(shipped: Categories) -> None:
    assert {each.id for each in shipped.categories if each.asked} == STOP
    for each in shipped.categories:
        if each.asked:
            fact = shipped.fact(each.asked)
            assert each in shipped.asked_by(fact.id)
            assert [answer.id for answer in fact.answers] == ["yes", "no"]
            assert not re.search(r"\b(?:open|shake|smell|press) it\b", fact.question), fact.id
