"""Programmes: which rule wins, what is still open, and every mistake named with its mend."""

from __future__ import annotations

from datetime import date
from itertools import product
from pathlib import Path

import pytest

from classifier.errors import DataFileError, UnknownIdError
from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme, load_programmes, load_shipped_programmes
from classifier.rules.programme_rules import CAUTIOUS_FIRST, RECOVERED, ROUTES
from tests.small_lists import (
    CATEGORIES,
    HEAD,
    RULES,
    rule_for,
    small_categories,
    small_programme,
)


@pytest.fixture(scope="module")
def shipped() -> tuple[Categories, dict[str, Programme]]:
    categories = load_categories()
    return categories, {each.id: each for each in load_shipped_programmes(categories)}


@pytest.fixture
def lists(tmp_path: Path) -> Categories:
    return small_categories(tmp_path)


@pytest.fixture
def small(tmp_path: Path, lists: Categories) -> Programme:
    return small_programme(tmp_path, lists)


def test_the_routes() -> None:
    assert ROUTES["kerbside"].name == "Kerbside recycling"
    assert set(CAUTIOUS_FIRST) == set(ROUTES)
    assert RECOVERED == set(ROUTES) - {"residual", "special_collection", "with_contents"}


def test_the_rule_with_more_facts_wins(small: Programme) -> None:
    with_mark = rule_for(small, "alu", {"deposit": "yes"})
    assert with_mark is not None
    assert (with_mark.route, with_mark.condition, with_mark.note) == (
        *("deposit_return", "", "At the shop."),
    )
    without = rule_for(small, "alu", {"deposit": "no"})
    assert without is not None
    assert (without.route, without.condition) == ("kerbside", "Rinsed")


def test_an_open_fact_leaves_all_its_rules_possible(small: Programme) -> None:
    assert [r.route for r in small.routes_for("alu", {})] == ["kerbside", "deposit_return"]
    assert rule_for(small, "alu", {}) is None
    assert rule_for(small, "alu", {"magnetic": "no"}) is None
    assert rule_for(small, "steel", {}) is not None
    assert small.pivotal_facts("alu", {}) == {"deposit"}
    assert small.pivotal_facts("alu", {"deposit": "no"}) == set()
    assert small.pivotal_facts("steel", {}) == set()


def test_an_open_fact_may_only_be_what_fits_the_material(tmp_path: Path, lists: Categories) -> None:
    """A steel can is never anything but magnetic: a rule for the other case stays out of play."""
    rules = RULES + '[[rule]]\ncategory = "steel"\nwhen = { magnetic = "yes", deposit = "yes" }\n'
    programme = small_programme(tmp_path, lists, HEAD + rules + 'route = "deposit_return"\n')
    assert programme.pivotal_facts("steel", {}) == {"deposit"}
    only = rule_for(programme, "steel", {"deposit": "yes"})
    assert only is not None
    assert only.route == "deposit_return"
    odd = rule_for(programme, "steel", {"deposit": "yes", "magnetic": "no"})  # a person insists
    assert odd is not None
    assert odd.route == "kerbside"


def test_a_fact_that_moves_only_the_condition_is_not_pivotal(
    tmp_path: Path, lists: Categories
) -> None:
    rules = RULES + '[[rule]]\ncategory = "film"\nwhen = { deposit = "yes" }\nroute = "residual"\n'
    programme = small_programme(tmp_path, lists, HEAD + rules + 'note = "Bagged"\n')
    assert len(programme.routes_for("film", {})) == 2
    assert programme.pivotal_facts("film", {}) == set()


def test_a_list_of_answers_is_one_rule_for_each(tmp_path: Path, lists: Categories) -> None:
    rules = RULES.replace('number = "1"', 'number = ["1", "none"]')
    programme = small_programme(tmp_path, lists, HEAD + rules)
    routes = {n: rule_for(programme, "tub", {"number": n}) for n in ("1", "2", "none")}
    assert {n: rule.route for n, rule in routes.items() if rule} == {
        "1": "kerbside",
        "2": "residual",
        "none": "kerbside",
    }
    assert len({rule.line for rule in programme.rules if rule.category == "tub"}) == 2


def test_two_ways_to_the_same_route_may_meet(tmp_path: Path, lists: Categories) -> None:
    """Both say residual: no contradiction, and the fact that stands first in the list speaks."""
    rule = '[[rule]]\ncategory = "film"\nwhen = { %s }\nroute = "residual"\nnote = "%s"\n'
    by_deposit, by_number = rule % ('deposit = "yes"', "deposit"), rule % ('number = "1"', "number")
    for rules in (by_deposit + by_number, by_number + by_deposit):
        programme = small_programme(tmp_path, lists, HEAD + RULES + rules)
        won = rule_for(programme, "film", {"deposit": "yes", "number": "1"})
        assert won is not None
        assert won.note == "number"


def test_the_statement_names_programme_and_date(small: Programme) -> None:
    assert small.statement == (
        "Small Town, valid from 1 March 2026. Follow your local authority where it differs."
    )


def test_the_days_on_which_the_rules_are_in_force(tmp_path: Path, lists: Categories) -> None:
    head = HEAD + "valid_to = 2026-12-31\n"
    ending = small_programme(tmp_path, lists, head + RULES)
    assert [ending.in_force(date(2026, m, d)) for m, d in ((2, 28), (3, 1), (12, 31))] == [
        *(False, True, True),
    ]
    assert not ending.in_force(date(2027, 1, 1))
    assert small_programme(tmp_path, lists).in_force(date(2099, 1, 1))


def test_an_unknown_category_is_told(small: Programme) -> None:
    with pytest.raises(UnknownIdError, match=r'programme "small" has no category "tin"; choose'):
        small.routes_for("tin", {})


MISTAKES = [
    # what to replace, by what, lines from there to the mistake, what is said, the mend
    ('category = "film"', 'category = "flim"', 0, 'unknown category "flim"', '"film"?'),
    ('route = "special_collection"', 'route = "special"', 0, 'unknown route "special"', "Use one"),
    ('route = "special_collection"', "", -2, '"route" is missing or empty', "Add route"),
    ('{ deposit = "yes" }', '{ deposti = "yes" }', 0, 'unknown fact "deposti"', '"deposit"?'),
    ('{ deposit = "yes" }', '{ deposit = "yess" }', 0, 'answer to "deposit" "yess"', '"yes"?'),
    ('{ deposit = "yes" }', "{ deposit = [] }", 0, '"deposit" is missing or empty', "Add deposit"),
    ('{ deposit = "yes" }', '{ deposit = ["yes", "yes"] }', 0, "stands twice", "Take one"),
    ('{ number = "1" }', "{ number = 1 }", 0, '"number" holds something else than', "in quotes"),
    ('{ number = "1" }', '"number is 1"', 0, '"when" is not a table', "when = { key"),
    ('note = "At', 'notes = "At', 0, 'unknown key "notes"', '"note"?'),
    ('name = "Small Town"', 'nam = "Small Town"', 0, 'unknown key "nam"', '"name"?'),
    ('source = "invented for the tests"\n', "", -5, '"source" is missing or empty', "Add source"),
    ("valid_from = 2026-03-01", "valid_from = 2026-02-30", 0, "no valid TOML", "Check"),
    ("valid_from = 2026-03-01", 'valid_from = "2026-03-01"', 0, "is not a date", "unquoted"),
    ("valid_from = 2026-03-01\n", "", -4, '"valid_from" is missing', "Add valid_from"),
    ("source =", "valid_to = 2026-02-28\nsource =", 0, "end on 2026-02-28, before", "dates"),
    ('id = "small"', 'id = "Small"', 0, '"Small" is no id', "small letters"),
    ('[[rule]]\ncategory = "film"\nroute = "residual"\n', "", 2,
     'no rule for category "film" (Film)', 'Add a [[rule]] with category = "film"'),
    ('[[rule]]\ncategory = "film"', '[[rule]]\ncategory = "film"\nwhen = { deposit = "yes" }', 0,
     'no rule for category "film" when deposit is no', 'and no "when" for all other cases'),
    ('[[rule]]\ncategory = "film"', '[[rule]]\ncategory = "film"\nwhen = { number = "1" }', 0,
     "when number is 2 (and in 1 more cases)", 'and no "when"'),
    ('[[rule]]\ncategory = "film"',
     '[[rule]]\ncategory = "film"\nroute = "organics"\n[[rule]]\ncategory = "film"', 3,
     'for "film" in all other cases, this rule says "residual" and the rule on line 29 says '
     '"organics"; both are equally specific', "Remove one, or add a rule"),
    ('[[rule]]\ncategory = "film"',
     '[[rule]]\ncategory = "film"\nroute = "residual"\nnote = "x"\n[[rule]]\ncategory = "film"', 4,
     'this rule for "film" repeats the rule on line 29', "Remove one of the two"),
    ('{ number = "1" }', '{ deposit = "yes" }', -2, 'for "tub" (when deposit is yes) can never',
     "unheard of for the material"),
    ('route = "special_collection"', 'route = "reuse"', -2,
     '"cell" must be set aside and can\'t go to "reuse"', "special_collection"),
    ('route = "special_collection"', 'route = "kerbside"', -2,
     '"cell" must be set aside, yet goes to "kerbside" unconditionally', "Add the condition"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "below", "what", "mend"), MISTAKES)
def test_each_mistake_is_named_with_file_line_and_mend(
    tmp_path: Path, lists: Categories, old: str, new: str, below: int, what: str, mend: str
) -> None:
    before, found, after = (HEAD + RULES).partition(old)
    assert found
    line = before.count("\n") + 1 + below
    with pytest.raises(DataFileError) as error:
        small_programme(tmp_path, lists, before + new + after, name="port.toml")
    assert f"port.toml, line {line}: " in error.value.message
    assert what in error.value.message
    assert mend in error.value.message


def test_contradiction_of_two_rules_that_only_meet_in_one_case(
    tmp_path: Path, lists: Categories
) -> None:
    meet = (
        '[[rule]]\ncategory = "film"\nwhen = { deposit = "yes" }\nroute = "reuse"\n'
        '[[rule]]\ncategory = "film"\nwhen = { number = "1" }\nroute = "kerbside"\n'
    )
    with pytest.raises(DataFileError) as error:
        small_programme(tmp_path, lists, HEAD + RULES + meet)
    assert 'for "film" when number is 1, deposit is yes, this rule says "kerbside"' in str(
        error.value
    )
    cure = (
        '[[rule]]\ncategory = "film"\nwhen = { number = "1", deposit = "yes" }\nroute = "reuse"\n'
    )
    programme = small_programme(tmp_path, lists, HEAD + RULES + meet + cure)
    settled = rule_for(programme, "film", {"number": "1", "deposit": "yes"})
    assert settled is not None
    assert len(settled.when) == 2


def test_a_stop_category_may_go_to_the_kerb_under_a_condition(
    tmp_path: Path, lists: Categories
) -> None:
    rules = RULES.replace('route = "special_collection"', 'route = "kerbside"\ncondition = "Taped"')
    assert rule_for(small_programme(tmp_path, lists, HEAD + rules), "cell", {})


def test_rules_on_more_facts_than_anyone_can_oversee(
    tmp_path: Path, lists: Categories, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("classifier.rules.programme_check.MOST_CASES", 5)
    rule = (
        '[[rule]]\ncategory = "film"\nwhen = { deposit = "yes", number = "1" }\nroute = "reuse"\n'
    )
    with pytest.raises(DataFileError, match=r'"film" hang on 2 facts, 6 cases\. Use fewer facts'):
        small_programme(tmp_path, lists, HEAD + RULES + rule)


def test_a_directory_of_programmes(tmp_path: Path, lists: Categories) -> None:
    directory = tmp_path / "rules"
    directory.mkdir()
    with pytest.raises(DataFileError, match=r"^rules, line 1: no programme file.*NAME\.toml"):
        load_programmes(directory, lists)
    (directory / "b.toml").write_text(HEAD + RULES)
    (directory / "a.toml").write_text(HEAD.replace('"small"', '"first"') + RULES)
    assert [each.id for each in load_programmes(directory, lists)] == ["first", "small"]
    (directory / "c.toml").write_text(HEAD + RULES)
    with pytest.raises(DataFileError, match=r'^c\.toml, .*"small" is already in b\.toml.*other id'):
        load_programmes(directory, lists)


def test_the_two_shipped_programmes_differ_where_it_matters(
    shipped: tuple[Categories, dict[str, Programme]],
) -> None:
    _, programmes = shipped
    assert set(programmes) == {"alder_valley", "port_sable"}
    alder, port = programmes["alder_valley"], programmes["port_sable"]

    def routes(category: str, **facts: str) -> tuple[str, str]:
        rules = [rule_for(each, category, facts) for each in (alder, port)]
        return tuple(rule.route if rule else "?" for rule in rules)  # type: ignore[return-value]

    assert routes("cartons") == ("kerbside", "residual")
    assert routes("pet_bottles", deposit_mark="yes") == ("deposit_return", "kerbside")
    assert routes("food") == ("organics", "residual")
    assert routes("garden") == ("garden_organics", "drop_off")
    assert routes("glass_bottles_jars", deposit_mark="no") == ("kerbside", "drop_off")
    assert routes("plastic_film", clean="yes") == ("retailer_take_back", "residual")
    assert {r.route for r in port.rules} & {
        "deposit_return",
        "garden_organics",
        "organics",
    } == set()
    for number in "1234567":
        taken = rule_for(port, "rigid_plastics", {"resin": number})
        assert taken is not None
        assert (taken.route == "kerbside") == (number in "125"), number


def test_shipped_programmes_say_that_they_are_invented(
    shipped: tuple[Categories, dict[str, Programme]],
) -> None:
    for programme in shipped[1].values():
        assert "Invented example programme" in programme.source
        assert "invented" in programme.area
        assert programme.in_force(date(2026, 12, 1))


def test_every_case_of_every_category_has_exactly_one_rule(
    shipped: tuple[Categories, dict[str, Programme]],
) -> None:
    categories, programmes = shipped
    cases = 0
    for programme, category in product(programmes.values(), categories.categories):
        named = sorted({f for r in programme.rules if r.category == category.id for f in r.when})
        answers = [[a.id for a in categories.fact(fact).answers] for fact in named]
        for chosen in product(*answers):
            facts = dict(zip(named, chosen, strict=True))
            matching = [
                rule
                for rule in programme.rules
                if rule.category == category.id and rule.when.items() <= facts.items()
            ]
            full = [rule for rule in matching if rule.when.get("empty") == "no"]
            most = max(len(rule.when) for rule in full or matching)
            winner = rule_for(programme, category.id, facts)
            assert [rule for rule in full or matching if len(rule.when) == most] == [winner]
            cases += 1
    assert cases > 100


def test_a_stop_category_never_hangs_on_a_fact_and_never_goes_with_the_rest(
    shipped: tuple[Categories, dict[str, Programme]],
) -> None:
    categories, programmes = shipped
    for programme in programmes.values():
        for category in categories.categories:
            rule = rule_for(programme, category.id, {})
            if category.stop:
                assert rule is not None, category.id
                assert rule.condition, category.id
                assert rule.route in {"special_collection", "retailer_take_back"} or (
                    category.id == "broken_glass"
                )


# ---- what is taken for granted

GRANTED = CATEGORIES.replace('id = "deposit"\n', 'id = "deposit"\nassumed = "no"\n').replace(
    ', deposit = ["no"]', ""
)


def test_what_is_taken_for_granted_is_never_asked_and_its_exception_beats_all(
    tmp_path: Path,
) -> None:
    lists = small_categories(tmp_path, GRANTED)
    rules = RULES + (
        '[[rule]]\ncategory = "tub"\nwhen = { deposit = "yes" }\nroute = "deposit_return"\n'
    )
    programme = small_programme(tmp_path, lists, HEAD + rules)
    assert programme.pivotal_facts("alu", {}) == frozenset()
    assert [rule.route for rule in programme.routes_for("alu", {})] == ["kerbside"]
    assert [rule.route for rule in programme.routes_for("alu", {"deposit": "yes"})] == [
        "deposit_return"
    ]
    # As specific as the rule for number 1, and no contradiction: what is unusual was said.
    both = {"number": "1", "deposit": "yes"}
    assert [rule.route for rule in programme.routes_for("tub", both)] == ["deposit_return"]


def test_both_programmes_set_packs_with_something_in_them_apart(
    shipped: tuple[Categories, dict[str, Programme]],
) -> None:
    categories, programmes = shipped
    packs = {"pet_bottles", "hdpe_bottles", "rigid_plastics", "cartons", "coated_paper"}
    packs |= {"aluminium_cans", "steel_cans", "foil_trays", "glass_bottles_jars"}
    for programme in programmes.values():
        for category in categories.categories:
            full = {rule.route for rule in programme.routes_for(category.id, {"empty": "no"})}
            usual = {rule.route for rule in programme.routes_for(category.id, {})}
            assert (full == {"with_contents"}) == (category.id in packs), category.id
            assert "with_contents" not in usual
            assert "empty" not in programme.pivotal_facts(category.id, {})
