"""Which fact to ask next: the one whose answer settles most, and none that changes nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import fsum

from classifier.rules.category_parts import Categories, Fact
from classifier.rules.programme import Programme
from classifier.rules.route_mass import Candidate, best_route, reaches, settled_route
from classifier.rules.suggestion_parts import Thresholds

# Ours, no source: they only spare the sorter questions about what the item hardly can be.
LEAST_GAIN = 0.05
SEEN_P = 0.02


@dataclass(frozen=True, slots=True)
class _Worth:
    """What asking one fact is worth: all probabilities, 0 to 1."""

    fact: Fact
    expected: float
    """Expected probability of the leading route after the answer."""
    decided: float
    """Probability that a route holds after the answer."""
    pivotal: float
    """Probability of the categories whose route hangs on the fact."""
    outcomes: frozenset[str | None]
    """The routes that hold after one answer or another, None where none does."""

    def helps(self, now: float) -> bool:
        """Tell whether an answer may well bring a route to hold, and another answer not that."""
        return self.expected - now >= LEAST_GAIN and len(self.outcomes) > 1


def choose_question(
    among: Sequence[Candidate],
    categories: Categories,
    programme: Programme,
    thresholds: Thresholds,
    *,
    facts: Mapping[str, str],
    closed: frozenset[str],
) -> Fact | None:
    """Return the fact to ask, or None if no answer would change where the item goes.

    `among` holds one candidate or more, by falling probability.
    `closed` holds the facts that the sorter declined to answer. A fact is asked if its answer may
    well bring a route to hold, or if the route of categories that are likely enough to be
    suggested hangs on it. Below `thresholds.unsure` the leading category is no suggestion; then a
    fact is asked only if its answer is likely to decide.
    """
    now = settled_route(among)[1] / fsum(each.p for each in among)
    pivots = {
        each.category.id: programme.pivotal_facts(each.category.id, facts)
        for each in among
        if not each.category.stop  # its rules may name facts, but it is to be left alone
    }
    worths = [
        worth
        for fact in categories.facts
        if fact.id not in facts and fact.id not in closed
        for worth in [_worth(fact, among, pivots, programme, thresholds, facts)]
        if worth is not None
        and (worth.pivotal >= thresholds.unsure or worth.helps(now))
        and (among[0].p >= thresholds.unsure or worth.decided >= thresholds.route)
    ]
    # max() keeps the first of equals: facts stand in the order of how quickly they are found out.
    best = max(worths, key=lambda w: (round(w.expected, 9), round(w.pivotal, 9)), default=None)
    return best.fact if best else None


def _worth(
    fact: Fact,
    among: Sequence[Candidate],
    pivots: Mapping[str, frozenset[str]],
    programme: Programme,
    thresholds: Thresholds,
    facts: Mapping[str, str],
) -> _Worth | None:
    """Weigh one fact; None if hardly a route hangs on it and it tells no two candidates apart.

    How likely an answer is: each category spreads its probability evenly over those that fit it.
    What follows from an answer: the same as in `weigh_facts`, the categories that don't fit fall
    out and the others keep their proportions.
    """
    pivotal = fsum(each.p for each in among if fact.id in pivots.get(each.category.id, ()))
    if pivotal < LEAST_GAIN and not _tells_apart(fact, among):
        return None
    total = fsum(each.p for each in among)
    expected: list[float] = []
    decided: list[float] = []
    outcomes: set[str | None] = set()
    for answer in fact.answers:
        fitting = [each for each in among if each.category.fits(fact.id, answer.id)]
        left = fsum(each.p for each in fitting)
        if not fitting:
            continue
        likely = fsum(each.p / _answers_that_fit(fact, each) for each in fitting) / total
        terms: dict[str, list[float]] = {}
        for each in fitting:
            routes = _routes_after(each, programme, facts, fact.id, answer.id)
            if len(routes) == 1:
                terms.setdefault(min(routes), []).append(each.p)
        route, mass = best_route(terms) if terms else ("", 0.0)
        holds = reaches(mass / left, thresholds.route)
        expected.append(likely * mass / left)
        decided.append(likely if holds else 0.0)
        outcomes.add(route if holds else None)
    return _Worth(fact, fsum(expected), fsum(decided), pivotal, frozenset(outcomes))


def _answers_that_fit(fact: Fact, each: Candidate) -> int:
    return sum(each.category.fits(fact.id, answer.id) for answer in fact.answers)


def _routes_after(
    each: Candidate, programme: Programme, facts: Mapping[str, str], fact: str, answer: str
) -> frozenset[str]:
    if fact not in programme.rules_of(each.category.id).answers:
        return each.routes
    rules = programme.routes_for(each.category.id, {**facts, fact: answer})
    return frozenset(rule.route for rule in rules)


def _tells_apart(fact: Fact, among: Sequence[Candidate]) -> bool:
    """Tell whether two likely candidates must answer this test differently."""
    if not fact.tells_material:
        return False
    expected = {
        each.category.evidence[fact.id]
        for each in among
        if each.p >= SEEN_P and fact.id in each.category.evidence
    }
    return len(expected) > 1
