"""Laws of rules: whatever is written, and in whatever order."""

from __future__ import annotations

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from classifier.errors import DataFileError
from classifier.rules.categories import load_categories
from classifier.rules.data_table import Problems
from classifier.rules.programme import Programme, load_shipped_programmes
from classifier.rules.programme_check import check_rules
from classifier.rules.programme_rules import ROUTES, CategoryRules, Rule
from tests.small_lists import rule_for

CATEGORIES = load_categories()
PROGRAMMES = load_shipped_programmes(CATEGORIES)
CATEGORY = CATEGORIES.get("other_plastic")  # fits nearly every answer
ANSWERS = {
    "magnetic": ("yes", "no"),
    "clean": ("yes", "no"),
    "scrunch": ("stays", "springs"),
}
NAMES = tuple(ANSWERS)

whens = st.dictionaries(st.sampled_from(NAMES), st.integers(0, 1), max_size=3).map(
    lambda chosen: {fact: ANSWERS[fact][place] for fact, place in chosen.items()}
)
rule_lists = st.lists(
    st.builds(
        Rule,
        category=st.just(CATEGORY.id),
        when=whens,
        route=st.sampled_from(["kerbside", "residual", "reuse"]),
        condition=st.just(""),
        note=st.just(""),
        line=st.integers(1, 99),
    ),
    min_size=1,
    max_size=7,
)
shipped_cases = st.tuples(
    st.sampled_from(PROGRAMMES), st.sampled_from([each.id for each in CATEGORIES.categories])
)
partial_facts = st.dictionaries(
    st.sampled_from([fact.id for fact in CATEGORIES.facts]), st.integers(0, 7), max_size=6
).map(
    lambda chosen: {
        fact: CATEGORIES.fact(fact).answers[place % len(CATEGORIES.fact(fact).answers)].id
        for fact, place in chosen.items()
    }
)


def all_cases() -> list[dict[str, str]]:
    return [dict(zip(NAMES, chosen, strict=True)) for chosen in product(*ANSWERS.values())]


def faults(rules: CategoryRules) -> list[str]:
    problems = Problems("x.toml")
    others = {
        each.id: CategoryRules((Rule(each.id, {}, "residual", "c", "", 1),), {})
        for each in CATEGORIES.categories
    }
    check_rules({**others, CATEGORY.id: rules}, CATEGORIES, problems, 1)
    try:
        problems.raise_any()
    except DataFileError as error:
        return error.message.splitlines()
    return []


@given(rule_lists)
def test_a_file_is_sound_exactly_if_every_case_leads_to_one_route(rules: list[Rule]) -> None:
    """Checked against the definition, worked out here the slow way."""
    table = CategoryRules(tuple(rules), ANSWERS)
    found = faults(table)
    gap = clash = False
    for case in all_cases():
        matching = [rule for rule in rules if rule.when.items() <= case.items()]
        most = max((len(rule.when) for rule in matching), default=-1)
        best = [rule for rule in matching if len(rule.when) == most]
        gap |= not best
        clash |= len({rule.route for rule in best}) > 1
    assert any("no rule for category" in line for line in found) == gap
    assert any("neither wins" in line for line in found) == clash


@given(rule_lists, st.randoms(use_true_random=False))
def test_the_order_of_rules_changes_nothing(rules: list[Rule], random) -> None:  # type: ignore[no-untyped-def]
    table = CategoryRules(tuple(rules), ANSWERS)
    if faults(table):
        return
    shuffled = rules.copy()
    random.shuffle(shuffled)
    other = CategoryRules(tuple(shuffled), ANSWERS)
    for case in all_cases():
        assert table.winner(case) == other.winner(case)
    assert {r.route for r in table.possible({})} == {r.route for r in other.possible({})}
    assert table.pivotal({}) == other.pivotal({})


@given(rule_lists, partial_facts)
def test_a_fact_is_pivotal_exactly_if_some_case_turns_on_it(
    rules: list[Rule], facts: dict[str, str]
) -> None:
    table = CategoryRules(tuple(rules), ANSWERS)
    if faults(table):
        return
    known = {fact: answer for fact, answer in facts.items() if fact in ANSWERS}
    cases = [case for case in all_cases() if known.items() <= case.items()]
    turning = {
        fact
        for fact in NAMES
        if fact not in known
        for one, other in product(cases, cases)
        if {name for name in NAMES if one[name] != other[name]} == {fact}
        and table.winner(one).route != table.winner(other).route
    }
    assert table.pivotal(facts) == turning
    assert (not turning) == (len({rule.route for rule in table.possible(facts)}) == 1)


@given(shipped_cases, partial_facts)
@settings(max_examples=300)
def test_every_answer_leaves_fewer_rules_possible(
    case: tuple[Programme, str], facts: dict[str, str]
) -> None:
    """What is taken for granted is answered first: another answer brings in the rule for it."""
    programme, category_id = case
    category = CATEGORIES.get(category_id)
    fitting = {f: a for f, a in facts.items() if category.fits(f, a)}
    given_so_far = {f: a for f, a in fitting.items() if CATEGORIES.fact(f).assumed}
    before = programme.routes_for(category_id, given_so_far)
    assert before
    for fact, answer in fitting.items():
        given_so_far[fact] = answer
        after = programme.routes_for(category_id, given_so_far)
        assert after
        assert all(rule in before for rule in after)
        before = after


@given(shipped_cases, partial_facts)
@settings(max_examples=300)
def test_all_facts_answered_leave_exactly_one_rule_even_odd_ones(
    case: tuple[Programme, str], facts: dict[str, str]
) -> None:
    programme, category_id = case
    full = {fact.id: facts.get(fact.id, fact.answers[0].id) for fact in CATEGORIES.facts}
    rule = rule_for(programme, category_id, full)
    assert rule is not None
    assert rule.category == category_id
    assert rule.route in ROUTES
    assert programme.pivotal_facts(category_id, full) == frozenset()
