"""Do two people give the same photo the same label? On labels that were given blind only.

A label is blind where nobody's suggestion or label was in sight: the first one of an audit or of a
photo without a suggestion, and every second opinion. A confirmation after seeing a suggestion is
no independent label and never counts.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from classifier.errors import ConflictError, InvalidEntryError
from classifier.estimators.agreement import agreement_band, cohen_kappa, fleiss_kappa
from classifier.estimators.krippendorff import krippendorff_alpha
from classifier.estimators.result import Estimate
from service.entries import check_id, check_sorter
from service.services import Services
from service.store.example_log import ExampleHistory
from service.store.example_rows import SECOND, Example, Review, Wanted

CANT_TELL = ""
"""Second opinion of somebody who can't tell from the photo; it counts in no agreement."""


@dataclass(frozen=True, slots=True)
class PairAgreement:
    """Agreement of two people on the photos that both labelled blind."""

    first: str
    second: str
    photos: int
    agreed: int
    kappa: Estimate | None
    why_not: str
    """Why there is no kappa, if there is none."""


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A photo that people gave different labels."""

    capture_id: str
    labels: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Agreement:
    """Agreement between people on blind labels, and what it rests on."""

    photos: int
    people: tuple[str, ...]
    unnamed: int
    """Blind labels without a name, left out."""
    alpha: Estimate | None
    fleiss: Estimate | None
    why_not: str
    pairs: tuple[PairAgreement, ...]
    disagreements: tuple[Disagreement, ...]

    @property
    def band(self) -> str:
        """Customary word for the alpha, empty without one."""
        return "" if self.alpha is None else agreement_band(min(1.0, self.alpha.value))


def agreement(services: Services, *, sort_id: str | None = None) -> Agreement:
    """Return how far people agree who labelled the same photos blind."""
    examples = services.log.examples(Wanted(sort_id=sort_id))
    histories = services.log.histories([each.capture_id for each in examples])
    opinions, unnamed = {}, 0
    for each in examples:
        given, nameless = _blind_labels(each, histories[each.capture_id])
        opinions[each.capture_id] = given
        unnamed += nameless
    twice = {capture: given for capture, given in opinions.items() if len(given) > 1}
    people = tuple(sorted({who for given in twice.values() for who in given}))
    alpha, why_not = _alpha(twice, people)
    return Agreement(
        photos=len(twice),
        people=people,
        unnamed=unnamed,
        alpha=alpha,
        fleiss=_fleiss(twice),
        why_not=why_not,
        pairs=tuple(_pair(twice, a, b) for a, b in combinations(people, 2) if _both(twice, a, b)),
        disagreements=tuple(
            Disagreement(capture, given)
            for capture, given in twice.items()
            if len(set(given.values())) > 1
        ),
    )


def next_for_second_opinion(services: Services, *, sorter: str) -> tuple[Example | None, int]:
    """Return a photo that a person has not labelled yet, and how many there are.

    Photos that somebody else labelled blind come first, each makes a pair; otherwise the order is
    fixed and says nothing about what a photo shows.

    Raises InvalidEntryError without a name: pairs need to know who is who.
    """
    who = _named(sorter)
    examples = services.log.examples(Wanted())
    histories = services.log.histories([each.capture_id for each in examples])
    waiting = [each for each in examples if who not in _labellers(histories[each.capture_id])]
    if not waiting:
        return None, 0

    def order(each: Example) -> tuple[int, str]:
        given, _ = _blind_labels(each, histories[each.capture_id])
        return -len(given), hashlib.sha256(each.capture_id.encode()).hexdigest()

    return min(waiting, key=order), len(waiting)


def give_second_opinion(
    services: Services,
    *,
    review_id: str,
    capture_id: str,
    category: str,
    sorter: str,
) -> None:
    """Record a label that somebody gave who had not seen the first one; no label changes by it.

    Raises InvalidEntryError without a name, ConflictError when this person has labelled the photo
    before, UnknownIdError (photo, category).
    """
    who, own = _named(sorter), check_id(review_id, "review_id")
    capture = check_id(capture_id, "capture_id")
    if category != CANT_TELL:
        services.categories.get(category)
    history = services.log.histories([capture]).get(capture)
    reviews = () if history is None else history.reviews
    resent = any(review.id == own for review in reviews)
    if history is not None and not resent and who in _labellers(history):
        raise ConflictError(
            f"{who} has labelled this photo before: a second opinion takes another person; go on "
            "to the next photo",
            capture=capture,
        )
    row = Review(
        id=own,
        capture_id=capture,
        verdict=SECOND,
        category=category or None,
        note="",
        sorter=who,
        at=services.clock(),
    )
    services.log.add_reviews([row], {"verdict": SECOND, "category": category, "sorter": who})


def _named(sorter: str) -> str:
    who = check_sorter(sorter)
    if not who:
        raise InvalidEntryError("sorter is empty: a second opinion needs the name of who gives it")
    return who


def _labellers(history: ExampleHistory) -> set[str]:
    """Return everybody who has said what a photo shows."""
    return (
        {item.sorter for item in history.items}
        | {change.sorter for change in history.changes}
        | {review.sorter for review in history.reviews}
    )


def _blind_labels(example: Example, history: ExampleHistory) -> tuple[dict[str, str], int]:
    """Return the first blind label of each named person, and how many came without a name."""
    labels = [
        (item.sorter, item.category)
        for item in history.items
        # An imported label was given somewhere else, who knows how.
        if item.id == example.item_id
        and example.origin is None
        and (example.audit or item.suggested is None)
    ]
    labels += [
        (review.sorter, review.category)
        for review in history.reviews
        if review.verdict == SECOND and review.category is not None
    ]
    given: dict[str, str] = {}
    for who, category in labels:
        if who:
            given.setdefault(who, category)
    return given, sum(not who for who, _ in labels)


def _alpha(
    twice: Mapping[str, Mapping[str, str]], people: Sequence[str]
) -> tuple[Estimate | None, str]:
    ratings = [[given.get(who) for given in twice.values()] for who in people]
    if len(twice) < 2:
        return None, (
            f"{len(twice)} photos have blind labels by two people: at least 2 are needed, 50 or "
            "more give an interval worth reading"
        )
    try:
        return krippendorff_alpha(ratings, blind=True), ""
    except ValueError as error:
        return None, str(error)


def _fleiss(twice: Mapping[str, Mapping[str, str]]) -> Estimate | None:
    """Return Fleiss's kappa over the photos with the commonest number of labels, if it exists."""
    if len(twice) < 2:
        return None
    times = Counter(len(given) for given in twice.values())
    number = max(times, key=lambda each: (times[each], each))
    chosen = [given for given in twice.values() if len(given) == number]
    names = sorted({label for given in chosen for label in given.values()})
    table = [[list(given.values()).count(name) for name in names] for given in chosen]
    try:
        return fleiss_kappa(table, blind=True)
    except ValueError:
        return None


def _both(twice: Mapping[str, Mapping[str, str]], a: str, b: str) -> list[Mapping[str, str]]:
    return [given for given in twice.values() if a in given and b in given]


def _pair(twice: Mapping[str, Mapping[str, str]], a: str, b: str) -> PairAgreement:
    both = _both(twice, a, b)
    first, second = [given[a] for given in both], [given[b] for given in both]
    kappa, why_not = None, ""
    try:
        kappa = cohen_kappa(first, second, blind=True)
    except ValueError as error:
        why_not = str(error)
    agreed = sum(x == y for x, y in zip(first, second, strict=True))
    return PairAgreement(a, b, len(both), agreed, kappa, why_not)
