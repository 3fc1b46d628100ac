"""Material categories, the facts that tell them apart and the cautions that go with them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from classifier.errors import UnknownIdError

NOT_SURE = "not_sure"
"""The answer that every fact accepts: the fact stays open and is never asked again."""


@dataclass(frozen=True, slots=True)
class Group:
    """The upper level of the list: paper, plastics, metals, ..."""

    id: str
    name: str


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning that is shown before anything else about an item."""

    id: str
    text: str


@dataclass(frozen=True, slots=True)
class Answer:
    """One possible answer to a fact's question."""

    id: str
    label: str


@dataclass(frozen=True, slots=True)
class Fact:
    """Something a photo can't show and a rule may need.

    `tells_material` marks a test (magnet, scrunch, tear, number) that may be asked to tell two
    materials apart; any other fact is asked only where a rule of the programme needs it, or to look
    for a hazard. A fact with an `assumed` answer is never asked: that answer holds until somebody
    says otherwise.
    """

    id: str
    name: str
    question: str
    how: str
    answers: tuple[Answer, ...]
    tells_material: bool
    assumed: str | None = None

    def answer(self, answer_id: str) -> Answer:
        """Return one of the answers.

        Raises
        ------
        UnknownIdError
            If the fact has no such answer.
        """
        for answer in self.answers:
            if answer.id == answer_id:
                return answer
        allowed = ", ".join([*(answer.id for answer in self.answers), NOT_SURE])
        raise UnknownIdError(
            f'"{answer_id}" is no answer to "{self.id}"; allowed: {allowed}. Send one of these',
            fact=self.id,
            answer=answer_id,
        )


@dataclass(frozen=True, slots=True)
class LookAlike:
    """Another category that is easily taken for this one, and how to tell them apart."""

    category: str
    tell: str


@dataclass(frozen=True, slots=True)
class Category:
    """One material category of the log.

    `words` are other names under which people look for it, in US and British English, singular.
    `evidence` gives, for some facts, the answers that fit the material; a fact that is not listed
    fits with any answer. A stop category has no evidence: no answer may talk a hazard away. It may
    be `asked` by a fact with the answers yes and no, where a harmless category leads.

    `cautions` are shown with every item; those of `handling` once a sort, and in the guide.
    """

    id: str
    group: str
    name: str
    belongs: tuple[str, ...]
    not_here: tuple[str, ...]
    look_alikes: tuple[LookAlike, ...]
    cautions: tuple[str, ...]
    stop: bool
    evidence: Mapping[str, frozenset[str]]
    words: tuple[str, ...] = ()
    handling: tuple[str, ...] = ()
    asked: str | None = None

    def fits(self, fact_id: str, answer_id: str) -> bool:
        """Tell whether an answer is compatible with this material."""
        return fact_id not in self.evidence or answer_id in self.evidence[fact_id]


@dataclass(frozen=True)
class Categories:
    """The whole list, in the order of the file (facts: quickest to find out first)."""

    version: str
    groups: tuple[Group, ...]
    categories: tuple[Category, ...]
    facts: tuple[Fact, ...]
    cautions: tuple[Caution, ...]
    _by_id: Mapping[str, Category] = field(init=False, repr=False, compare=False)
    _facts: Mapping[str, Fact] = field(init=False, repr=False, compare=False)
    _cautions: Mapping[str, Caution] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the lists by id."""
        object.__setattr__(self, "_by_id", {each.id: each for each in self.categories})
        object.__setattr__(self, "_facts", {each.id: each for each in self.facts})
        object.__setattr__(self, "_cautions", {each.id: each for each in self.cautions})

    def has(self, category_id: str) -> bool:
        """Tell whether the list holds a category; an older log may hold others."""
        return category_id in self._by_id

    def get(self, category_id: str) -> Category:
        """Return one category.

        Raises
        ------
        UnknownIdError
            If no category bears the id.
        """
        try:
            return self._by_id[category_id]
        except KeyError:
            raise UnknownIdError(
                f'no category is called "{category_id}"; choose one of the {len(self._by_id)} in '
                f"the list of categories, version {self.version}",
                category=category_id,
            ) from None

    def fact(self, fact_id: str) -> Fact:
        """Return one fact.

        Raises
        ------
        UnknownIdError
            If no fact bears the id.
        """
        try:
            return self._facts[fact_id]
        except KeyError:
            raise UnknownIdError(
                f'no fact is called "{fact_id}"; known facts: {", ".join(self._facts)}. '
                "Send one of these",
                fact=fact_id,
            ) from None

    def in_group(self, group_id: str) -> tuple[Category, ...]:
        """Return the categories of one group, in the order of the file."""
        return tuple(each for each in self.categories if each.group == group_id)

    def cautions_of(self, category: Category) -> tuple[Caution, ...]:
        """Return the cautions that belong to every item of a category, the gravest first."""
        return tuple(self._cautions[caution_id] for caution_id in category.cautions)

    def handling_of(self, category: Category) -> tuple[Caution, ...]:
        """Return what a sorter should hear once about handling a category."""
        return tuple(self._cautions[caution_id] for caution_id in category.handling)

    def asked_by(self, fact_id: str) -> tuple[Category, ...]:
        """Return the stop categories that a fact asks about."""
        return tuple(each for each in self.categories if each.asked == fact_id)

    def known_answers(self, facts: Mapping[str, str]) -> dict[str, str]:
        """Return the facts that are really answered, in the order of the list.

        They are checked, and those answered "not sure" are left out.

        Raises
        ------
        UnknownIdError
            If a fact or an answer is unknown.
        """
        for fact_id, answer_id in facts.items():
            fact = self.fact(fact_id)
            if answer_id != NOT_SURE:
                fact.answer(answer_id)
        return {
            fact.id: facts[fact.id]
            for fact in self.facts
            if facts.get(fact.id, NOT_SURE) != NOT_SURE
        }
