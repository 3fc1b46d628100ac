"""A programme: the dated rules of one locality, read from one TOML file and checked whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from itertools import product
from pathlib import Path

from classifier.errors import UnknownIdError
from classifier.rules.categories import DATA_DIRECTORY
from classifier.rules.category_parts import Categories
from classifier.rules.data_file import read_toml
from classifier.rules.data_table import Problems, Table
from classifier.rules.programme_check import check_rules
from classifier.rules.programme_rules import (
    ROUTES,
    UNDECIDED,
    CategoryRules,
    Rule,
)

_PROGRAMME_KEYS = ("id", "name", "area", "version", "valid_from", "valid_to", "source", "rule")
# Not strftime's: its names follow the locale of the machine.
_MONTHS = "January February March April May June July August September October November December"
_RULE_KEYS = ("category", "when", "route", "condition", "note")


@dataclass(frozen=True)
class Programme:
    """One locality's rules: every category leads, by its facts, to exactly one rule."""

    id: str
    name: str
    area: str
    version: str
    valid_from: date
    valid_to: date | None
    source: str
    rules: tuple[Rule, ...]
    _by_category: Mapping[str, CategoryRules] = field(repr=False, compare=False)

    @property
    def statement(self) -> str:
        """What must stand beside every route that is shown."""
        day = self.valid_from
        return (
            f"{self.name}, valid from {day.day} {_MONTHS.split()[day.month - 1]} {day.year}. "
            "Follow your local authority where it differs."
        )

    def in_force(self, on: date) -> bool:
        """Tell whether the rules are valid on a day."""
        return self.valid_from <= on and (self.valid_to is None or on <= self.valid_to)

    def routes_for(self, category: str, facts: Mapping[str, str]) -> tuple[Rule, ...]:
        """Return all rules that can still apply, given the answered facts.

        An open fact may have any answer that fits the material (`Category.evidence`), one with an
        assumed answer only that.

        Raises
        ------
        UnknownIdError
            If the programme has no such category.
        """
        return self.rules_of(category).possible(facts)

    def pivotal_facts(self, category: str, facts: Mapping[str, str]) -> frozenset[str]:
        """Return the open facts whose answer can change the route of this category."""
        return self.rules_of(category).pivotal(facts)

    def only_route(self, category: str) -> str:
        """Return the one route that a category can take, `UNDECIDED` if not exactly one."""
        try:
            routes = {rule.route for rule in self.routes_for(category, {})}
        except UnknownIdError:
            return UNDECIDED
        return routes.pop() if len(routes) == 1 else UNDECIDED

    def rules_of(self, category: str) -> CategoryRules:
        """Return the rules of one category.

        Raises
        ------
        UnknownIdError
            If the programme has no such category.
        """
        try:
            return self._by_category[category]
        except KeyError:
            raise UnknownIdError(
                f'programme "{self.id}" has no category "{category}"; choose one of the list of '
                "categories",
                category=category,
            ) from None


def load_programme(path: Path, categories: Categories) -> Programme:
    """Read and check one programme file.

    Raises
    ------
    DataFileError
        If the file can't be read, holds an unknown key, category, fact, answer or route, leaves a
        case without a rule or has two rules for one: names file, line and fix.
    """
    file = read_toml(path)
    root = file.root
    root.only(_PROGRAMME_KEYS)
    rules = tuple(rule for table in root.tables("rule") for rule in _rules(table, categories))
    by_category = {
        category.id: _category_rules(category.id, rules, categories)
        for category in categories.categories
    }
    programme = Programme(
        id=root.identifier(),
        name=root.text("name"),
        area=root.text("area"),
        version=root.text("version"),
        valid_from=root.day("valid_from", needed=True) or date.min,
        valid_to=root.day("valid_to"),
        source=root.text("source"),
        rules=rules,
        _by_category=by_category,
    )
    if programme.valid_to is not None and programme.valid_to < programme.valid_from:
        root.fault(
            "valid_to",
            f"the rules end on {programme.valid_to}, before they begin on {programme.valid_from}",
            "Swap or correct the dates",
        )
    file.problems.raise_any()
    check_rules(by_category, categories, file.problems, file.end)
    file.problems.raise_any()
    return programme


def load_programmes(directory: Path, categories: Categories) -> tuple[Programme, ...]:
    """Read all programme files of a directory, in the order of their file names.

    Raises
    ------
    DataFileError
        If there is none, one holds a mistake, or two have the same id.
    """
    found: dict[str, tuple[Programme, Path]] = {}
    for path in sorted(directory.glob("*.toml")):
        programme = load_programme(path, categories)
        if programme.id in found:
            other = found[programme.id][1].name
            Problems(path.name).refuse(
                1,
                f'programme "{programme.id}" is already in {other}',
                "Give one of the two another id",
            )
        found[programme.id] = (programme, path)
    if not found:
        Problems(directory.name).refuse(
            1, "no programme file in this directory", "Put at least one NAME.toml there"
        )
    return tuple(programme for programme, _ in found.values())


def load_shipped_programmes(categories: Categories) -> tuple[Programme, ...]:
    """Read the two invented programmes that ship with the product."""
    return load_programmes(DATA_DIRECTORY / "programmes", categories)


def _rules(table: Table, categories: Categories) -> list[Rule]:
    """Read one [[rule]]: a list of answers in `when` stands for one rule for each of them."""
    table.only(_RULE_KEYS)
    category = table.one_of("category", [each.id for each in categories.categories], "category")
    route = table.one_of("route", ROUTES, "route")
    condition = table.text("condition", needed=False)
    note = table.text("note", needed=False)
    when = table.table("when")
    facts = {fact.id: [answer.id for answer in fact.answers] for fact in categories.facts}
    choices: dict[str, tuple[str, ...]] = {}
    for name in when.names():
        if not when.known(name, name, facts, "fact"):
            continue
        answers = when.texts(name, needed=True)
        choices[name] = tuple(
            answer
            for answer in answers
            if when.known(name, answer, facts[name], f'answer to "{name}"')
        )
        if len(set(answers)) < len(answers):
            when.fault(name, f'the same answer to "{name}" stands twice', "Take one of them out")
    return [
        Rule(
            category,
            dict(zip(choices, chosen, strict=True)),
            route,
            condition,
            note,
            table.line,
        )
        for chosen in product(*choices.values())
    ]


def _category_rules(
    category_id: str, rules: tuple[Rule, ...], categories: Categories
) -> CategoryRules:
    category = categories.get(category_id)
    own = tuple(rule for rule in rules if rule.category == category_id)
    named = {fact for rule in own for fact in rule.when}
    asked = [fact for fact in categories.facts if fact.id in named]
    assumed = {fact.id: fact.assumed for fact in asked if fact.assumed is not None}
    answers = {
        fact.id: (assumed[fact.id],)
        if fact.id in assumed
        else tuple(a.id for a in fact.answers if category.fits(fact.id, a.id))
        for fact in asked
    }
    return CategoryRules(own, answers, assumed)
