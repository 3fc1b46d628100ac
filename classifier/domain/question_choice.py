"""Which fact to ask next: the one whose answer settles most, and none that changes nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import fsum

from classifier.domain.categories import Categories, Fact
from classifier.domain.programme import Programme
from classifier.domain.route_mass import Candidate, best_route, settled_route
from classifier.domain.suggestion_parts import Thresholds

# Ours, no source: they only spare the sorter questions about what the item hardly can be.
LEAST_P = 0.001
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

    def helps(self, now: float) -> bool:
        """Tell whether the answer may well bring a route to hold that doesn't yet."""
        return self.expected - now >= LEAST_GAIN and self.decided >= LEAST_GAIN


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

    `closed` holds the facts that the sorter declined to answer. Below `thresholds.unsure` the
    leading category is no suggestion; then a fact is asked only if its answer is likely to decide.
    """
    seen = [each for each in among if each.p >= LEAST_P]
    if not seen:
        return None
    now = settled_route(seen)[1]
    worths = [
        worth
        for fact in categories.facts
        if fact.id not in facts and fact.id not in closed
        for worth in [_worth(fact, seen, programme, thresholds, facts)]
        if worth is not None
        and (worth.pivotal >= thresholds.unsure or worth.helps(now))
        and (seen[0].p >= thresholds.unsure or worth.decided >= thresholds.route)
    ]
    # max() keeps the first of equals: facts stand in the order of how quickly they are found out.
    best = max(worths, key=lambda w: (round(w.expected, 9), round(w.pivotal, 9)), default=None)
    return best.fact if best else None


def _worth(
    fact: Fact,
    seen: Sequence[Candidate],
    programme: Programme,
    thresholds: Thresholds,
    facts: Mapping[str, str],
) -> _Worth | None:
    """Weigh one fact; None if no route hangs on it and it tells no two candidates apart.

    Each category spreads its probability evenly over the answers that fit it. Nobody is asked
    about a stop category: its rules may name facts, but it is to be left alone.
    """
    pivotal = fsum(
        each.p
        for each in seen
        if not each.category.stop and fact.id in programme.pivotal_facts(each.category.id, facts)
    )
    if not pivotal and not _tells_apart(fact, seen):
        return None
    held: dict[str, dict[str, list[float]]] = {answer.id: {} for answer in fact.answers}
    whole: dict[str, list[float]] = {answer.id: [] for answer in fact.answers}
    for each in seen:
        fitting = [a.id for a in fact.answers if each.category.fits(fact.id, a.id)]
        for answer in fitting:
            whole[answer].append(each.p / len(fitting))
            routes = _routes_after(each, programme, facts, fact.id, answer)
            if len(routes) == 1:
                held[answer].setdefault(min(routes), []).append(each.p / len(fitting))
    best = {answer: best_route(terms)[1] if terms else 0.0 for answer, terms in held.items()}
    decided = [fsum(p) for answer, p in whole.items() if _holds(best[answer], fsum(p), thresholds)]
    total = fsum(each.p for each in seen)
    return _Worth(fact, fsum(best.values()), fsum(decided) / total, pivotal)


def _routes_after(
    each: Candidate, programme: Programme, facts: Mapping[str, str], fact: str, answer: str
) -> frozenset[str]:
    if fact not in programme.rules_of(each.category.id).answers:
        return each.routes
    rules = programme.routes_for(each.category.id, {**facts, fact: answer})
    return frozenset(rule.route for rule in rules)


def _holds(best: float, whole: float, thresholds: Thresholds) -> bool:
    return whole > 0 and best / whole >= thresholds.route


def _tells_apart(fact: Fact, seen: Sequence[Candidate]) -> bool:
    """Tell whether two likely candidates must answer this test differently."""
    if not fact.tells_material:
        return False
    expected = {
        each.category.evidence[fact.id]
        for each in seen
        if each.p >= SEEN_P and fact.id in each.category.evidence
    }
    return len(expected) > 1
