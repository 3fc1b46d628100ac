"""Recovery routes and the rules of a programme: category and facts → route, condition, note.

Of the rules that match, the one with the most facts in its `when` wins, so that a programme can
say "cans: kerbside" and add "but with the deposit mark: deposit return". Every rule names a
category: a fact alone (a resin number, above all) never leads anywhere. ASTM D7611 itself says
that the number implies nothing about recyclability or a local programme (blog.ansi.org/2019/02,
code B).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import product

from classifier.log.records import WITH_CONTENTS


@dataclass(frozen=True, slots=True)
class Route:
    """Where an item goes."""

    id: str
    name: str


ROUTES: Mapping[str, Route] = {
    route.id: route
    for route in (
        Route("kerbside", "Kerbside recycling"),
        Route("drop_off", "Drop-off point"),
        Route("retailer_take_back", "Retailer take-back"),
        Route("deposit_return", "Deposit return"),
        Route("organics", "Food and organics collection"),
        Route("garden_organics", "Garden organics collection"),
        Route("reuse", "Reuse"),
        Route("special_collection", "Special collection"),
        Route(WITH_CONTENTS, "Set apart with its contents"),
        Route("residual", "Residual waste"),
    )
}
"""All routes by id, in the order in which pages list them."""

UNDECIDED = "undecided"
"""Stands for the route of an item that has none."""

SPECIAL = "special_collection"
RECOVERED: frozenset[str] = frozenset(ROUTES) - {"residual", SPECIAL, WITH_CONTENTS}
"""Routes that count as recovered; what is set apart is counted apart, residual is discarded."""

CAUTIOUS_FIRST: tuple[str, ...] = (
    SPECIAL,
    WITH_CONTENTS,
    "residual",
    "drop_off",
    "retailer_take_back",
    "kerbside",
    "organics",
    "garden_organics",
    "reuse",
    "deposit_return",
)
"""The routes from the one where a wrong item does least harm to the one where it does most.

Ours, no source: a hazard must never be missed, and one wrong item in a collection spoils others.
"""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: an item of the category whose facts are as in `when` goes to the route."""

    category: str
    when: Mapping[str, str]
    route: str
    condition: str
    note: str
    line: int

    def matches(self, facts: Mapping[str, str]) -> bool:
        """Tell whether every fact of the rule is answered as it says."""
        return all(facts.get(fact) == answer for fact, answer in self.when.items())


@dataclass(frozen=True)
class CategoryRules:
    """The rules of one category, with the answers that an open fact may still have."""

    rules: tuple[Rule, ...]
    answers: Mapping[str, tuple[str, ...]]
    """For each fact that a rule names: the answers that fit the material.

    Of a fact that is taken for granted until somebody says otherwise (`Fact.assumed`), this is the
    assumed answer alone.
    """

    assumed: Mapping[str, str] = field(default_factory=dict)
    """The answers that are taken for granted. A rule for another one beats all other rules."""

    _routes: dict[tuple[str | None, ...], tuple[Rule, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _pivotal: dict[tuple[str | None, ...], frozenset[str]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def winners(self, facts: Mapping[str, str]) -> tuple[Rule, ...]:
        """Return the most specific of the rules that match."""
        matching = [rule for rule in self.rules if rule.matches(facts)]
        most = max((self._specific(rule) for rule in matching), default=(0, 0))
        return tuple(rule for rule in matching if self._specific(rule) == most)

    def _specific(self, rule: Rule) -> tuple[int, int]:
        odd = sum(rule.when.get(fact, usual) != usual for fact, usual in self.assumed.items())
        return odd, len(rule.when)

    def winner(self, facts: Mapping[str, str]) -> Rule:
        """Return the one rule that applies when all facts are known, in a checked file.

        Equally specific rules to the same route may both match ("dirty: residual" and "lined:
        residual"); the one with the fact that comes first in the list of facts speaks.
        """
        return max(self.winners(facts), key=lambda rule: [f in rule.when for f in self.answers])

    def possible(self, facts: Mapping[str, str]) -> tuple[Rule, ...]:
        """Return the rules that can still win, whatever the open facts turn out to be."""
        key = tuple(facts.get(fact) for fact in self.answers)
        found = self._routes.get(key)
        if found is None:
            still = [self.winner(full) for full in self._completions(facts)]
            found = tuple(rule for rule in self.rules if rule in still)
            self._routes[key] = found
        return found

    def pivotal(self, facts: Mapping[str, str]) -> frozenset[str]:
        """Return the open facts on which the route hangs.

        A fact is pivotal if, with all others held, two of its answers lead to different routes:
        asking anything else can't change where the item goes.
        """
        key = tuple(facts.get(fact) for fact in self.answers)
        found = self._pivotal.get(key)
        if found is None:
            found = frozenset(
                fact
                for fact in self.answers
                if fact not in facts
                and any(
                    self.winner({**full, fact: answer}).route != self.winner(full).route
                    for full in self._completions(facts)
                    for answer in self.answers[fact]
                )
            )
            self._pivotal[key] = found
        return found

    def _completions(self, facts: Mapping[str, str]) -> Iterator[dict[str, str]]:
        names = tuple(self.answers)
        choices = [(facts[name],) if name in facts else self.answers[name] for name in names]
        for chosen in product(*choices):
            yield dict(zip(names, chosen, strict=True))
