"""The list of material categories, read from its data file and checked whole.

The list is data (`data/categories.toml`), not code: a category without examples, a look-alike that
doesn't exist or a caution that nobody wrote is named with its line.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from classifier.rules.category_parts import (
    NOT_SURE,
    Answer,
    Categories,
    Category,
    Caution,
    Fact,
    Group,
    LookAlike,
)
from classifier.rules.data_file import read_toml
from classifier.rules.data_table import Table
from classifier.rules.search_words import stems_of

DATA_DIRECTORY = Path(__file__).with_name("data")
YES_AND_NO = {"yes", "no"}
LONGEST_WORD = 40
"""Characters of one of the other names of a category."""

_CATEGORY_KEYS = (
    "id",
    "group",
    "name",
    "stop",
    "words",
    "belongs",
    "not_here",
    "look_alike",
    "cautions",
    "handling",
    "asked",
    "evidence",
)


def load_categories(path: Path | None = None) -> Categories:
    """Read and check the categories; without a path, those that ship.

    Raises
    ------
    DataFileError
        If the file can't be read or holds a mistake: names file, line and fix.
    """
    file = read_toml(path or DATA_DIRECTORY / "categories.toml")
    root = file.root
    root.only(("version", "group", "caution", "fact", "category"))
    groups = tuple(Group(each.identifier(), _name(each)) for each in root.tables("group"))
    cautions = tuple(
        Caution(each.identifier(), each.text("text")) for each in root.tables("caution")
    )
    facts = tuple(_fact(each) for each in root.tables("fact"))
    tables = root.tables("category")
    categories = tuple(_category(each) for each in tables)
    for kind in ("group", "caution", "fact", "category"):
        _refuse_repeats(root.tables(kind), kind)
        if not root.tables(kind):
            root.fault(kind, f"there is no [[{kind}]]", f"Add at least one [[{kind}]]")
    read = Categories(root.text("version"), groups, categories, facts, cautions)
    for table, category in zip(tables, categories, strict=True):
        _check_references(table, category, read)
    file.problems.raise_any()
    return read


def _name(table: Table) -> str:
    table.only(("id", "name"))
    return table.text("name")


def _fact(table: Table) -> Fact:
    table.only(("id", "name", "question", "how", "tells_material", "assumed", "answer"))
    answers = []
    for each in table.tables("answer"):
        each.only(("id", "label"))
        answers.append(Answer(each.identifier(), each.text("label")))
        if answers[-1].id == NOT_SURE:
            each.fault("id", f'"{NOT_SURE}" is an answer of every fact', "Take this answer out")
    if len(answers) < 2:
        table.fault(
            "answer", "a fact needs two answers or more", "Add answer = [{ id, label }, ..]"
        )
    _refuse_repeats(table.tables("answer"), "answer")
    assumed = table.text("assumed", needed=False) or None
    if assumed is not None:
        table.known("assumed", assumed, [answer.id for answer in answers], "answer")
    return Fact(
        table.identifier(),
        table.text("name"),
        table.text("question"),
        table.text("how"),
        tuple(answers),
        table.flag("tells_material"),
        assumed,
    )


def _category(table: Table) -> Category:
    table.only(_CATEGORY_KEYS)
    look_alikes = []
    for each in table.tables("look_alike"):
        each.only(("category", "tell"))
        look_alikes.append(LookAlike(each.text("category"), each.text("tell")))
    evidence = table.table("evidence")
    category = Category(
        id=table.identifier(),
        group=table.text("group"),
        name=table.text("name"),
        words=_words(table),
        belongs=table.texts("belongs", needed=True),
        not_here=table.texts("not_here"),
        look_alikes=tuple(look_alikes),
        cautions=table.texts("cautions"),
        handling=table.texts("handling"),
        stop=table.flag("stop"),
        asked=table.text("asked", needed=False) or None,
        evidence={fact: frozenset(evidence.texts(fact, needed=True)) for fact in evidence.names()},
    )
    if category.stop and not category.cautions:
        table.fault("cautions", "a stop category without a caution", 'Add cautions = ["..."]')
    if category.stop and category.evidence:
        table.fault(
            "evidence",
            "a stop category with evidence: an answer could talk the hazard away",
            "Take the evidence out",
        )
    if category.asked and not category.stop:
        table.fault("asked", "only a stop category is asked about", "Take it out, or use evidence")
    return category


def _words(table: Table) -> tuple[str, ...]:
    """Return the other names of a category, each once and short enough for a list."""
    words = table.texts("words")
    seen: set[tuple[str, ...]] = set()
    for word in words:
        stems = stems_of(word)
        if not stems or len(word) > LONGEST_WORD:
            table.fault(
                "words",
                f'"{word}" is no name that anybody would type',
                f"Write letters or digits, {LONGEST_WORD} characters at most",
            )
        elif stems in seen:
            table.fault("words", f'"{word}" stands twice', "Take one out; plurals count as one")
        seen.add(stems)
    return words


def _refuse_repeats(tables: Sequence[Table], kind: str) -> None:
    seen: dict[str, int] = {}
    for table in tables:
        name = table.text("id", needed=False)
        if name and name in seen:
            table.fault(
                "id",
                f'{kind} "{name}" is already on line {seen[name]}',
                "Give one of the two another id, or take it out",
            )
        seen.setdefault(name, table.line_of("id"))


def _check_references(table: Table, category: Category, read: Categories) -> None:
    facts = {fact.id: {answer.id for answer in fact.answers} for fact in read.facts}
    categories = [each.id for each in read.categories]
    table.known("group", category.group, [each.id for each in read.groups], "group")
    for key, named in (("cautions", category.cautions), ("handling", category.handling)):
        for caution in named:
            table.known(key, caution, [each.id for each in read.cautions], "caution")
    if category.asked and table.known("asked", category.asked, facts, "fact"):
        if facts[category.asked] != YES_AND_NO:
            table.fault("asked", "its answers are not yes and no", "Ask a fact with these two")
    for each in table.tables("look_alike"):
        if each.one_of("category", categories, "category") == category.id:
            each.fault("category", "a category can't be its own look-alike", "Name another one")
    evidence = table.table("evidence")
    for fact, answers in category.evidence.items():
        if not evidence.known(fact, fact, facts, "fact"):
            continue
        for answer in sorted(answers):
            evidence.known(fact, answer, facts[fact], f'answer to "{fact}"')
