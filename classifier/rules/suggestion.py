"""From ranked forms and a programme to one suggestion: a route, a question, or an honest "no".

Low confidence falls toward the hazard: a stop category that leads, or together holds
`thresholds.stop`, decides before anything else. Where a harmless category leads, the fact that
tells the hazard is asked first (`hazards`); no other answer can rule a hazard out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from math import fsum

from classifier.rules.category_parts import Categories, Fact
from classifier.rules.hazards import fact_before_stop, weigh_hazards
from classifier.rules.programme import Programme
from classifier.rules.question_choice import choose_question
from classifier.rules.route_mass import (
    Candidate,
    candidates,
    category_shares,
    mix_learned,
    rank,
    reaches,
    scaled,
    settled_route,
    weigh_facts,
)
from classifier.rules.suggestion_case import (
    CAUTION_P,
    Case,
    build,
    misfit,
    route_of,
    said_answer,
    still_open,
    tells,
)
from classifier.rules.suggestion_parts import (
    NON_ITEM,
    Question,
    Ranked,
    RouteAnswer,
    Suggestion,
    Thresholds,
)

_BY_HAND = Thresholds(route=1.0, stop=1.0, unsure=0.0, non_item=1.0)


def suggest(
    forms: Sequence[Ranked],
    form_categories: Mapping[str, Mapping[str, float]],
    categories: Categories,
    programme: Programme,
    thresholds: Thresholds,
    *,
    facts: Mapping[str, str] | None = None,
    declined: Iterable[str] = (),
    learned: Mapping[str, float] | None = None,
) -> Suggestion:
    """Decide what to show for one photo.

    A fact in `facts` may be answered "not_sure", which is the same as naming it in `declined`: it
    stays open and is not asked again.

    `learned` holds the probabilities of categories, given that there is an item, which take the
    place of those that the forms lead to. They make nothing less careful: each hazard keeps at
    least the probability that the forms give it, where the forms alone say "stop" the answer is
    "stop", and every caution of a hazard that the forms alone would show is shown. Whether there
    is an item at all is left to the forms.

    Raises
    ------
    UnknownIdError
        If a form, category, fact or answer is unknown.
    InvalidQuantityError
        If a probability isn't between 0 and 1.
    """
    answered, closed = _answers(categories, facts or {}, declined)
    photo = category_shares(forms, form_categories)
    shares, fits = weigh_facts(weigh_hazards(photo, categories, answered), categories, answered)
    no_item = fsum(form.p for form in forms if form.id == NON_ITEM)
    case = Case(
        categories,
        programme,
        thresholds,
        answered,
        closed,
        candidates(rank(shares), categories, programme, answered),
        tuple(sorted(forms, key=lambda form: (-form.p, form.id))),
        no_item=no_item if not answered else 0.0,
        doubts=() if fits else misfit(categories, answered),
    )
    shipped = _decide(case)
    if learned is None or not photo:
        return shipped
    own = weigh_hazards(scaled(learned, fsum(photo.values())), categories, answered)
    own, fits = weigh_facts(own, categories, answered)
    mixed = mix_learned(shares, own, categories)
    case = replace(
        case,
        among=candidates(rank(mixed), categories, programme, answered),
        doubts=() if fits else misfit(categories, answered),
        stopped=shipped.decision == "stop",
    )
    return _as_careful(_decide(case), shipped, categories)


def _as_careful(own: Suggestion, shipped: Suggestion, categories: Categories) -> Suggestion:
    """Add the cautions of hazards that the shipped answer shows, in front where nothing stops."""
    grave = {
        caution.id
        for category in categories.categories
        if category.stop
        for caution in categories.cautions_of(category)
    }
    missing = [
        caution
        for caution in shipped.cautions
        if caution.id in grave and caution not in own.cautions
    ]
    if own.decision == "stop":
        return replace(own, cautions=(*own.cautions, *missing))
    return replace(own, cautions=(*missing, *own.cautions))


def suggestion_for_category(
    category: str,
    categories: Categories,
    programme: Programme,
    *,
    facts: Mapping[str, str] | None = None,
    declined: Iterable[str] = (),
) -> Suggestion:
    """Decide what to show for a category that a person chose: nothing of it is in doubt.

    Raises
    ------
    UnknownIdError
        If the category, a fact or an answer is unknown.
    """
    answered, closed = _answers(categories, facts or {}, declined)
    chosen = categories.get(category)
    odd = tuple(
        f'"{said_answer(categories, fact, answer)}" is unusual for {chosen.name}: look again, or '
        "choose another category."
        for fact, answer in answered.items()
        if not chosen.fits(fact, answer)
        or (answer == "yes" and categories.asked_by(fact) and chosen.asked != fact)
    )
    among = candidates([Ranked(category, 1.0)], categories, programme, answered)
    case = Case(categories, programme, _BY_HAND, answered, closed, among, notes=odd)
    return _decide(case)


def resolve_route(
    category: str, categories: Categories, programme: Programme, facts: Mapping[str, str]
) -> RouteAnswer:
    """Return the one route under which an item is recorded.

    While a fact is open (or "not sure"), that is the most cautious of the possible routes.

    Raises
    ------
    UnknownIdError
        If the category, a fact or an answer is unknown.
    """
    answered = categories.known_answers(facts)
    (only,) = candidates([Ranked(category, 1.0)], categories, programme, answered)
    return route_of(only, only.cautious, 1.0, categories, answered)


def _decide(case: Case) -> Suggestion:
    hazards = tuple(each for each in case.among if each.category.stop)
    hazard = fsum(each.p for each in hazards)
    item = fsum(each.p for each in case.among)
    leads = bool(hazards) and hazards[0] is case.among[0]
    if hazards and (case.stopped or reaches(hazard, case.thresholds.stop)):
        return _careful(case, hazards)
    if case.no_item and reaches(case.no_item, case.thresholds.non_item):
        return build(case, "not_an_item", warn=_likely(hazards))
    # An item of which the photo shows little is still an item: judge the hazard within it.
    if hazards and (leads or reaches(hazard / item, case.thresholds.stop)):
        return _careful(case, hazards)
    if case.doubts or not case.among:
        return build(case, "unsure", check=(*case.doubts, *tells(case)))
    route, mass = settled_route(case.among)
    if route is not None and reaches(mass, case.thresholds.route):
        return _routed(case, route, mass, hazards)
    fact = choose_question(
        case.among,
        case.categories,
        case.programme,
        case.thresholds,
        facts=case.facts,
        closed=case.closed,
    )
    if fact is not None:
        return build(case, "ask", question=_question(fact), check=tells(case))
    if reaches(case.among[0].p, case.thresholds.unsure):
        # More likely right than not: a suggestion with its probability beats "look closer".
        cautious = case.among[0].cautious
        mass = fsum(each.p for each in case.among if each.cautious == cautious)
        return _routed(case, cautious, mass, hazards)
    return build(case, "unsure", check=tells(case))


def _careful(case: Case, hazards: tuple[Candidate, ...]) -> Suggestion:
    """Stop; where a harmless category leads, ask first whether there is anything to stop for."""
    fact = (
        None
        if case.stopped or case.doubts
        else fact_before_stop(
            case.among, case.categories, case.thresholds, facts=case.facts, closed=case.closed
        )
    )
    if fact is None:
        return _stop(case, hazards)
    warned = [each for each in hazards if each.p >= CAUTION_P or each.category.asked == fact.id]
    return build(case, "ask", question=_question(fact), warn=tuple(warned), check=tells(case))


def _question(fact: Fact) -> Question:
    asked = tuple((answer.id, answer.label) for answer in fact.answers)
    return Question(fact.id, fact.question, fact.how, asked)


def _stop(case: Case, hazards: tuple[Candidate, ...]) -> Suggestion:
    """Put the hazards first: their cautions, and the leading one's route."""
    leading = hazards[0]
    mass = fsum(each.p for each in hazards if each.cautious == leading.cautious)
    return build(
        case,
        "stop",
        route=route_of(leading, leading.cautious, mass, case.categories, case.facts),
        order=(leading, *(each for each in case.among if each is not leading)),
        warn=(leading, *_likely(hazards[1:])),
        check=(*case.doubts, *still_open(case, leading), *tells(case)),
    )


def _likely(hazards: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    return tuple(each for each in hazards if each.p >= CAUTION_P)


def _routed(case: Case, route: str, mass: float, hazards: tuple[Candidate, ...]) -> Suggestion:
    """Show a route; where open facts could still change it, say what they would change.

    A hazard too unlikely to stop for is still warned of, as it is where no route is shown.
    """
    leading = next(each for each in case.among if each.cautious == route)
    answer = route_of(leading, route, mass, case.categories, case.facts)
    return build(
        case,
        "route",
        route=answer,
        warn=(case.among[0], leading, *_likely(hazards)),
        check=(*still_open(case, leading), *tells(case)),
    )


def _answers(
    categories: Categories, facts: Mapping[str, str], declined: Iterable[str]
) -> tuple[dict[str, str], frozenset[str]]:
    answered = categories.known_answers(facts)
    closed = {categories.fact(fact).id for fact in (*facts, *declined)}
    return answered, frozenset(closed)
