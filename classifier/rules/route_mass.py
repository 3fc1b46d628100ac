"""Probability carried from forms to categories to routes.

Sums use `math.fsum`, so that no result hangs on the order of forms, categories or rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import fsum

from classifier.errors import InvalidQuantityError, UnknownIdError
from classifier.rules.category_parts import Categories, Category
from classifier.rules.programme import Programme
from classifier.rules.programme_rules import CAUTIOUS_FIRST, ROUTES, Rule
from classifier.rules.suggestion_parts import NON_ITEM, Ranked, RouteAnswer

LEAST_FIT = 0.02
"""The share of the photo's probability that must fit the answers; with less, the two disagree.

Ours, no source: without it, one answer (a resin number, say) could lift a category that the photo
all but rules out to certainty, and so choose the route by itself.
"""

_ROUNDING = 1e-9

OTHERWISE = "Otherwise"
"""What `RouteAnswer.when` says of the rule for all cases that no other rule names."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A category that the item may be, with the rules that can still apply to it."""

    category: Category
    p: float
    rules: tuple[Rule, ...]

    @property
    def routes(self) -> frozenset[str]:
        """The routes that are still possible; the category counts for one only if it's alone."""
        return frozenset(rule.route for rule in self.rules)

    @property
    def cautious(self) -> str:
        """The possible route where a wrong item does least harm."""
        return min(self.routes, key=CAUTIOUS_FIRST.index)


def category_shares(
    forms: Sequence[Ranked], form_categories: Mapping[str, Mapping[str, float]]
) -> dict[str, float]:
    """Sum the probabilities of forms to categories; the form of no item goes to none.

    Raises
    ------
    InvalidQuantityError
        If a probability isn't between 0 and 1.
    UnknownIdError
        If a form is not mapped to categories.
    """
    parts: dict[str, list[float]] = {}
    for form in forms:
        if not 0 <= form.p <= 1:  # also refuses NaN
            raise InvalidQuantityError(
                f'form "{form.id}" has probability {form.p}; allowed: 0 to 1. Check the bundle',
                form=form.id,
                p=form.p,
            )
        if form.id == NON_ITEM:
            continue
        if form.id not in form_categories:
            raise UnknownIdError(
                f'form "{form.id}" is mapped to no category; add it to the bundle\'s "forms"',
                form=form.id,
            )
        for category, weight in form_categories[form.id].items():
            parts.setdefault(category, []).append(form.p * weight)
    sums = {category: fsum(terms) for category, terms in parts.items()}
    return {category: p for category, p in sums.items() if p > 0}


def weigh_facts(
    shares: Mapping[str, float], categories: Categories, facts: Mapping[str, str]
) -> tuple[dict[str, float], bool]:
    """Leave out the categories that an answer rules out and share their probability among the rest.

    Returns the new shares, adding up to 1 (who answers has an item in the hand), and whether the
    answers fit the photo; where they don't, the shares come back as they were.
    """
    if not facts:
        return dict(shares), True
    fitting = {
        category: p
        for category, p in shares.items()
        if all(categories.get(category).fits(fact, answer) for fact, answer in facts.items())
    }
    left = fsum(fitting.values())
    if left <= LEAST_FIT * fsum(shares.values()):
        return dict(shares), False
    return {category: p / left for category, p in fitting.items()}, True


def scaled(shares: Mapping[str, float], total: float) -> dict[str, float]:
    """Return shares in the same proportions that add up to `total`, without empty ones.

    Raises
    ------
    InvalidQuantityError
        If a share isn't between 0 and 1 or all are 0.
    """
    for category, p in shares.items():
        if not 0 <= p <= 1:  # also refuses NaN
            raise InvalidQuantityError(
                f'category "{category}" has probability {p}; allowed: 0 to 1. Rebuild what was '
                "learned",
                category=category,
                p=p,
            )
    whole = fsum(shares.values())
    if whole == 0:
        raise InvalidQuantityError(
            "no learned category has a probability above 0; rebuild what was learned"
        )
    return {category: p / whole * total for category, p in shares.items() if p > 0}


def mix_learned(
    shipped: Mapping[str, float], learned: Mapping[str, float], categories: Categories
) -> dict[str, float]:
    """Take the learned shares, yet leave each hazard at least what the shipped model gives it.

    What the hazards gain is taken from all other categories in proportion. The sum is the larger
    of the two: an answer may fit the one and not the other, whose shares then add up to less.
    """
    whole = fsum(learned.values())
    total = max(fsum(shipped.values()), whole)
    learned = {category: p / whole * total for category, p in learned.items()}
    hazards = {
        category: max(shipped.get(category, 0.0), learned.get(category, 0.0))
        for category in sorted({*shipped, *learned})
        if categories.get(category).stop
    }
    held = fsum(hazards.values())
    if held >= total * (1 - _ROUNDING):
        return scaled({category: p / held for category, p in hazards.items()}, total)
    others = {category: p for category, p in learned.items() if category not in hazards}
    left = (total - held) / fsum(others.values())
    return {**hazards, **{category: p * left for category, p in others.items()}}


def rank(shares: Mapping[str, float]) -> tuple[Ranked, ...]:
    """Order by falling probability, ties by id."""
    return tuple(
        Ranked(category, p) for category, p in sorted(shares.items(), key=lambda s: (-s[1], s[0]))
    )


def candidates(
    ranked: Iterable[Ranked],
    categories: Categories,
    programme: Programme,
    facts: Mapping[str, str],
) -> tuple[Candidate, ...]:
    """Pair each category with the rules that can still apply to it."""
    return tuple(
        Candidate(categories.get(each.id), each.p, programme.routes_for(each.id, facts))
        for each in ranked
    )


def reaches(mass: float, threshold: float) -> bool:
    """Compare a sum of probabilities with a threshold, forgiving the rounding of sums."""
    return mass >= threshold - _ROUNDING


def best_route(terms: Mapping[str, Sequence[float]]) -> tuple[str, float]:
    """Return the route with most probability and how much; of equal ones, the more cautious."""
    sums = {route: fsum(parts) for route, parts in terms.items()}
    best = min(sums, key=lambda route: (-sums[route], CAUTIOUS_FIRST.index(route)))
    return best, sums[best]


def settled_route(among: Iterable[Candidate]) -> tuple[str | None, float]:
    """Return the route that holds most: a category counts only if all its rules lead there."""
    terms: dict[str, list[float]] = {}
    for each in among:
        if len(each.routes) == 1:
            terms.setdefault(each.cautious, []).append(each.p)
    return best_route(terms) if terms else (None, 0.0)


def route_answers(
    candidate: Candidate, categories: Categories, facts: Mapping[str, str]
) -> tuple[RouteAnswer, ...]:
    """Return the routes of a category as they are shown, the one for all other cases last."""
    groups: dict[tuple[str, str, str], list[Rule]] = {}
    for rule in candidate.rules:
        groups.setdefault((rule.route, rule.condition, rule.note), []).append(rule)
    order = list(ROUTES)
    ordered = sorted(
        groups.items(),
        key=lambda item: (_hangs_on_nothing(item[1], facts), order.index(item[0][0]), item[0]),
    )
    return tuple(
        RouteAnswer(
            route,
            ROUTES[route].name,
            condition,
            note,
            candidate.p,
            _said(rules, categories, facts) if len(groups) > 1 else "",
        )
        for (route, condition, note), rules in ordered
    )


def _hangs_on_nothing(rules: Sequence[Rule], facts: Mapping[str, str]) -> bool:
    return any(rule.when.keys() <= facts.keys() for rule in rules)


def _said(rules: Sequence[Rule], categories: Categories, facts: Mapping[str, str]) -> str:
    """Say on which open facts these rules hang: "Number in the triangle: 1, 2 or 5"."""
    if _hangs_on_nothing(rules, facts):
        return OTHERWISE
    by_others: dict[str, dict[str, set[str]]] = {}
    for rule in rules:
        *others, last = [
            fact.id for fact in categories.facts if fact.id in rule.when.keys() - facts
        ]
        before = "".join(_one(categories, fact, [rule.when[fact]]) + "; " for fact in others)
        by_others.setdefault(before, {}).setdefault(last, set()).add(rule.when[last])
    return ", or ".join(
        sorted(
            before + _one(categories, fact, answers)
            for before, last_facts in by_others.items()
            for fact, answers in last_facts.items()
        )
    )


def _one(categories: Categories, fact_id: str, answers: Iterable[str]) -> str:
    fact = categories.fact(fact_id)
    wanted = set(answers)
    *labels, last = [answer.label for answer in fact.answers if answer.id in wanted]
    said = f"{', '.join(labels)} or {last}" if labels else last
    return f"{fact.name}: {said}"
