"""The pieces of a suggestion: what the model ranked, what the page shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from classifier.rules.category_parts import Caution

Decision = Literal["route", "ask", "unsure", "stop", "not_an_item"]

NON_ITEM = "non_item"
"""The form of a photo without an item in it; it maps to no category."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """A form or a category with its probability, 0 to 1."""

    id: str
    p: float


@dataclass(frozen=True, slots=True)
class Thresholds:
    """The probabilities from which on an answer is given, set on held-out data.

    `route`: one route holds; `stop`: a hazard can't be left out; `unsure`: below it, the leading
    category is no suggestion; `non_item`: the photo shows no item. All 0 to 1.
    """

    route: float
    stop: float
    unsure: float
    non_item: float


@dataclass(frozen=True, slots=True)
class RouteAnswer:
    """A route as it is shown.

    `p` is the probability that the item goes there; among the routes of an `Alternative`, that of
    the category. `when` names the open facts on which the route hangs, empty if it hangs on none.
    """

    route: str
    name: str
    condition: str
    note: str
    p: float
    when: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """The one fact to ask now, with its answers as (id, label); "not_sure" is always accepted."""

    fact: str
    text: str
    how: str
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Alternative:
    """One category that the item may be, with all routes that are still possible for it."""

    category: str
    name: str
    p: float
    routes: tuple[RouteAnswer, ...]
    question: str | None


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What is shown for one photo or one category chosen by hand.

    `categories` may add up to less than 1: what is missing is the probability that the photo shows
    no item. `alternatives` begins with the leading category itself (for `stop`, with the leading
    hazard). `route` is set for `route` and `stop`, `question` for `ask`.
    """

    decision: Decision
    forms: tuple[Ranked, ...]
    categories: tuple[Ranked, ...]
    route: RouteAnswer | None
    question: Question | None
    cautions: tuple[Caution, ...]
    alternatives: tuple[Alternative, ...]
    check: tuple[str, ...]
    facts: Mapping[str, str]
