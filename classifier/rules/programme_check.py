"""What makes the rules of a programme incomplete or contradictory, each with its fix."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations, product
from math import prod

from classifier.log.records import WITH_CONTENTS
from classifier.rules.category_parts import Categories, Category
from classifier.rules.data_table import Problems
from classifier.rules.programme_rules import CategoryRules, Rule

MOST_CASES = 4096
"""Answers of one category's facts that are tried one by one; more than that nobody can oversee."""

NEVER_FOR_STOP = frozenset({"organics", "garden_organics", "reuse", WITH_CONTENTS})
CONDITION_FOR_STOP = frozenset({"kerbside", "residual"})


def check_rules(
    by_category: Mapping[str, CategoryRules], categories: Categories, problems: Problems, end: int
) -> None:
    """Note every category without a rule, gap, contradiction and rule that can't ever win.

    `end` is the line at which a missing rule is reported: the last one of the file.
    """
    for category in categories.categories:
        rules = by_category[category.id]
        if not rules.rules:
            problems.add(
                end,
                f'no rule for category "{category.id}" ({category.name})',
                f'Add a [[rule]] with category = "{category.id}" and its route',
            )
            continue
        _check_stop(category, rules, problems)
        facts = [*rules.answers]
        every = {fact.id: [a.id for a in fact.answers] for fact in categories.facts}
        count = prod(len(every[fact]) for fact in facts)
        if count > MOST_CASES:
            problems.add(
                rules.rules[0].line,
                f'the rules for "{category.id}" hang on {len(facts)} facts, {count} cases',
                f"Use fewer facts: at most {MOST_CASES} cases can be checked",
            )
            continue
        _check_cases(category, rules, _cases(every, facts), problems)


def _cases(every: Mapping[str, list[str]], facts: list[str]) -> Iterator[dict[str, str]]:
    for chosen in product(*(every[fact] for fact in facts)):
        yield dict(zip(facts, chosen, strict=True))


def _check_stop(category: Category, rules: CategoryRules, problems: Problems) -> None:
    if not category.stop:
        return
    for rule in rules.rules:
        if rule.route in NEVER_FOR_STOP:
            problems.add(
                rule.line,
                f'"{category.id}" must be set aside and can\'t go to "{rule.route}"',
                'Use "special_collection", "drop_off" or "retailer_take_back"',
            )
        elif rule.route in CONDITION_FOR_STOP and not rule.condition:
            problems.add(
                rule.line,
                f'"{category.id}" must be set aside, yet goes to "{rule.route}" unconditionally',
                "Add the condition under which the programme takes it",
            )


def _check_cases(
    category: Category, rules: CategoryRules, cases: Iterator[dict[str, str]], problems: Problems
) -> None:
    winning: set[int] = set()
    gaps: list[dict[str, str]] = []
    clashes: dict[tuple[int, int], tuple[Rule, Rule, dict[str, str]]] = {}
    for facts in cases:
        winners = rules.winners(facts)
        if all(category.fits(fact, answer) for fact, answer in facts.items()):
            winning.update(id(rule) for rule in winners)
        if not winners:
            gaps.append(facts)
        for first, second in _clashing(winners):
            clashes.setdefault((id(first), id(second)), (first, second, facts))
    if gaps:
        problems.add(
            rules.rules[-1].line,
            f'no rule for category "{category.id}" {_said(gaps[0])}{_more(gaps)}',
            f'Add a [[rule]] with category = "{category.id}" and no "when" for all other cases',
        )
    for first, second, facts in clashes.values():
        problems.add(second.line, *_clash(category, first, second, facts))
    for rule in rules.rules:
        if id(rule) not in winning and not any(rule in clash for clash in clashes.values()):
            problems.add(
                rule.line,
                f'this rule for "{category.id}" ({_said(rule.when)}) can never apply',
                "Its case is unheard of for the material, or other rules take all of it: remove it",
            )


def _clashing(winners: tuple[Rule, ...]) -> Iterator[tuple[Rule, Rule]]:
    """Yield pairs that can't stand together; others lead the same way for different reasons."""
    for first, second in combinations(winners, 2):
        if first.route != second.route or first.when == second.when:
            yield first, second


def _clash(
    category: Category, first: Rule, second: Rule, facts: Mapping[str, str]
) -> tuple[str, str]:
    where = f"the rule on line {first.line}"
    if first.when == second.when and first.route == second.route:
        return f'this rule for "{category.id}" repeats {where}', "Remove one of the two"
    what = (
        f'for "{category.id}" {_said(facts)}, this rule says "{second.route}" and {where} says '
        f'"{first.route}"; both are equally specific, so neither wins'
    )
    return what, 'Remove one, or add a rule whose "when" names this very case'


def _said(facts: Mapping[str, str]) -> str:
    said = ", ".join(f"{fact} is {answer}" for fact, answer in facts.items())
    return f"when {said}" if said else "in all other cases"


def _more(gaps: list[dict[str, str]]) -> str:
    return f" (and in {len(gaps) - 1} more cases)" if len(gaps) > 1 else ""
