"""How a suggestion is put together once it is decided: alternatives, cautions, what to check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from classifier.rules.category_parts import Categories, Caution
from classifier.rules.programme import Programme
from classifier.rules.route_mass import OTHERWISE, Candidate, route_answers
from classifier.rules.suggestion_parts import (
    Alternative,
    Decision,
    Question,
    Ranked,
    RouteAnswer,
    Suggestion,
    Thresholds,
)

MOST_ALTERNATIVES = 4
LEAST_ALTERNATIVE_P = 0.01
CHECKED_P = 0.1
"""From this probability on, the runner-up is worth telling apart from the leading category."""
CAUTION_P = 0.06
"""From this probability on, a stop category is warned of (`python -m tests.hazard_warnings`)."""
ORDINARY_CAUTION_P = 0.3
"""The same for other categories: a sorter stops reading warnings of what it hardly can be."""


@dataclass(frozen=True, slots=True)
class Case:
    """Everything that the decision hangs on; `among` is ordered by falling probability."""

    categories: Categories
    programme: Programme
    thresholds: Thresholds
    facts: Mapping[str, str]
    closed: frozenset[str]
    among: tuple[Candidate, ...]
    forms: tuple[Ranked, ...] = ()
    no_item: float = 0.0
    doubts: tuple[str, ...] = ()
    """Why the answers and the photo disagree; then nothing but a hazard is decided."""
    notes: tuple[str, ...] = ()
    stopped: bool = False
    """Whether the model as shipped says "stop", which nothing learned later takes back."""


def build(
    case: Case,
    decision: Decision,
    *,
    route: RouteAnswer | None = None,
    question: Question | None = None,
    order: tuple[Candidate, ...] | None = None,
    warn: tuple[Candidate, ...] | None = None,
    check: tuple[str, ...] = (),
) -> Suggestion:
    """Put a suggestion together.

    `order` is the order of the alternatives where it isn't that of probability; `warn` names the
    categories whose cautions are shown where it isn't all likely ones among the alternatives.
    """
    shown = _shown(case.among if order is None else order)
    warned = tuple(each for each in shown if _warned_of(each)) if warn is None else warn
    return Suggestion(
        decision,
        case.forms,
        tuple(Ranked(each.category.id, each.p) for each in case.among),
        route,
        question,
        _cautions(case.categories, warned),
        tuple(_alternative(case, each) for each in shown),
        (*case.notes, *check),
        dict(case.facts),
    )


def _warned_of(each: Candidate) -> bool:
    return each.p >= (CAUTION_P if each.category.stop else ORDINARY_CAUTION_P)


def _shown(order: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    likely = [each for each in order[1:] if each.p >= LEAST_ALTERNATIVE_P]
    return (*order[:1], *likely[: MOST_ALTERNATIVES - 1])


def _alternative(case: Case, each: Candidate) -> Alternative:
    pivotal = case.programme.pivotal_facts(each.category.id, case.facts) - case.closed
    asked = [fact.question for fact in case.categories.facts if fact.id in pivotal]
    return Alternative(
        each.category.id,
        each.category.name,
        each.p,
        route_answers(each, case.categories, case.facts),
        asked[0] if asked and not each.category.stop else None,
    )


def route_of(
    each: Candidate, route: str, mass: float, categories: Categories, facts: Mapping[str, str]
) -> RouteAnswer:
    """Return how a route is shown for one category; several conditions are all given."""
    ways = [way for way in route_answers(each, categories, facts) if way.route == route]
    conditions = " Or: ".join(dict.fromkeys(way.condition for way in ways if way.condition))
    notes = " ".join(dict.fromkeys(way.note for way in ways if way.note))
    return RouteAnswer(route, ways[0].name, conditions, notes, mass)


def _cautions(categories: Categories, warned: Iterable[Candidate]) -> tuple[Caution, ...]:
    """Return the cautions, those of stop categories first, each once."""
    ordered = sorted(warned, key=lambda each: not each.category.stop)  # stable: keeps their order
    found = {
        caution.id: caution for each in ordered for caution in categories.cautions_of(each.category)
    }
    return tuple(found.values())


def still_open(case: Case, each: Candidate) -> tuple[str, ...]:
    """Say on what the route of a category still hangs, if it does."""
    if len(each.routes) == 1:
        return ()
    ways = [
        f"otherwise {way.name}" if way.when == OTHERWISE else f'{way.name} if "{way.when}"'
        for way in route_answers(each, case.categories, case.facts)
    ]
    return (f"Still open: {'; '.join(ways)}.",)


def tells(case: Case) -> tuple[str, ...]:
    """Say how to tell the leading category from the runner-up, if that is likely at all."""
    if len(case.among) < 2 or case.among[1].p < CHECKED_P:
        return ()
    first, second = case.among[0].category, case.among[1].category
    for one, other in ((first, second), (second, first)):
        found = [like.tell for like in one.look_alikes if like.category == other.id]
        if found:
            return (f"{first.name} or {second.name}? {found[0]}",)
    return (
        f"{first.name} or {second.name}? {first.name}: {first.belongs[0]}. "
        f"{second.name}: {second.belongs[0]}.",
    )


def misfit(categories: Categories, facts: Mapping[str, str]) -> tuple[str, ...]:
    """Say that the answers and the photo disagree."""
    said = "; ".join(said_answer(categories, fact, answer) for fact, answer in facts.items())
    return (
        f"The answers don't fit what the photo looks like ({said}). Look again, take another "
        "photo, or choose the category yourself.",
    )


def said_answer(categories: Categories, fact_id: str, answer_id: str) -> str:
    """Say what was answered: "Magnet: Yes, it sticks"."""
    fact = categories.fact(fact_id)
    return f"{fact.name}: {fact.answer(answer_id).label}"
