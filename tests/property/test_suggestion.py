"""Laws of suggestions: order, hazards, and answers that can only settle."""

from __future__ import annotations

from math import fsum

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme, load_shipped_programmes
from classifier.rules.programme_rules import ROUTES
from classifier.rules.route_mass import candidates, rank, settled_route, weigh_facts
from classifier.rules.suggestion import resolve_route, suggest, suggestion_for_category
from classifier.rules.suggestion_parts import Ranked, Suggestion, Thresholds

CATEGORIES = load_categories()
PROGRAMMES = load_shipped_programmes(CATEGORIES)
IDS = [each.id for each in CATEGORIES.categories]
STOP = {each.id for each in CATEGORIES.categories if each.stop}
HAZARD_FACTS = sorted({each.asked for each in CATEGORIES.categories if each.asked})
MAPS = {each: {each: 1.0} for each in IDS} | {
    "can": {"steel_cans": 0.5, "aluminium_cans": 0.5},
    "tray": {"rigid_plastics": 0.75, "foam_polystyrene": 0.125, "foil_trays": 0.125},
    "bottle": {"pet_bottles": 0.625, "hdpe_bottles": 0.25, "unknown_liquids": 0.125},
}

programmes = st.sampled_from([0, 1]).map(PROGRAMMES.__getitem__)


@st.composite
def photos(draw: st.DrawFn) -> list[Ranked]:
    """A handful of likely forms, perhaps with no item among them, adding up to 1."""
    forms = draw(
        st.lists(st.sampled_from([*MAPS, "non_item"]), min_size=1, max_size=8, unique=True)
    )
    weights = [draw(st.integers(1, 1_000_000)) for _ in forms]
    return [
        Ranked(form, weight / sum(weights)) for form, weight in zip(forms, weights, strict=True)
    ]


limits = st.builds(
    Thresholds,
    route=st.floats(0.55, 0.99),
    stop=st.floats(0.05, 0.5),
    unsure=st.floats(0.1, 0.6),
    non_item=st.floats(0.3, 0.9),
)
facts = st.dictionaries(
    st.sampled_from([fact.id for fact in CATEGORIES.facts]), st.integers(0, 8), max_size=4
).map(
    lambda chosen: {
        fact: [*(a.id for a in CATEGORIES.fact(fact).answers), "not_sure"][
            place % (len(CATEGORIES.fact(fact).answers) + 1)
        ]
        for fact, place in chosen.items()
    }
)


def shuffled(values: list[Ranked], random) -> list[Ranked]:  # type: ignore[no-untyped-def]
    copy = values.copy()
    random.shuffle(copy)
    return copy


@given(photos(), programmes, limits, facts, st.randoms(use_true_random=False))
@settings(max_examples=200, deadline=None)
def test_the_order_of_forms_categories_and_answers_changes_nothing(  # type: ignore[no-untyped-def]
    photo: list[Ranked],
    programme: Programme,
    threshold: Thresholds,
    answers: dict[str, str],
    random,
) -> None:
    plain = suggest(photo, MAPS, CATEGORIES, programme, threshold, facts=answers)
    order = list(CATEGORIES.categories)
    random.shuffle(order)
    mixed = Categories(
        CATEGORIES.version,
        CATEGORIES.groups,
        tuple(order),
        CATEGORIES.facts,
        CATEGORIES.cautions,
    )
    maps = {form: dict(reversed(list(MAPS[form].items()))) for form in reversed(MAPS)}
    other = suggest(
        shuffled(photo, random),
        maps,
        mixed,
        programme,
        threshold,
        facts=dict(reversed(list(answers.items()))),
    )
    assert other == plain


@given(photos(), programmes, limits, facts)
@settings(max_examples=300, deadline=None)
def test_every_suggestion_is_whole(
    photo: list[Ranked], programme: Programme, threshold: Thresholds, answers: dict[str, str]
) -> None:
    found = suggest(photo, MAPS, CATEGORIES, programme, threshold, facts=answers)
    assert (found.route is not None) == (found.decision in {"route", "stop"})
    assert (found.question is not None) == (found.decision == "ask")
    if found.question is not None:
        assert found.question.fact not in answers
        assert len(found.question.answers) >= 2
    if found.route is not None:
        assert found.route.route in ROUTES
        assert 0 < found.route.p <= 1 + 1e-9
    assert fsum(each.p for each in found.categories) <= 1 + 1e-9
    assert [each.p for each in found.categories] == sorted(
        (each.p for each in found.categories), reverse=True
    )
    assert len(found.alternatives) <= 4
    for alternative in found.alternatives:
        assert alternative.routes


def hazard_in(found: Suggestion) -> float:
    return fsum(each.p for each in found.categories if each.id in STOP)


def looks_for_a_hazard(found: Suggestion) -> bool:
    return found.question is not None and found.question.fact in HAZARD_FACTS


@given(photos(), programmes, limits, facts)
@settings(max_examples=300, deadline=None)
def test_a_likely_hazard_stops_or_is_asked_about_and_no_other_answer_lowers_it(
    photo: list[Ranked], programme: Programme, threshold: Thresholds, answers: dict[str, str]
) -> None:
    others = {fact: answer for fact, answer in answers.items() if fact not in HAZARD_FACTS}
    before = suggest(photo, MAPS, CATEGORIES, programme, threshold)
    after = suggest(photo, MAPS, CATEGORIES, programme, threshold, facts=others)
    hazard = hazard_in(before)
    for found in (before, after):
        if hazard >= threshold.stop:
            assert found.decision == "stop" or looks_for_a_hazard(found)
        if looks_for_a_hazard(found):
            assert found.categories[0].id not in STOP
            assert found.categories[0].p >= hazard_in(found) - 1e-9
        if found.decision == "stop":
            assert found.cautions[0].text.startswith("Stop.")
            assert found.alternatives[0].category in STOP
    assert hazard_in(after) >= hazard - 1e-9


@given(photos(), programmes, limits, facts, st.sampled_from(HAZARD_FACTS))
@settings(max_examples=300, deadline=None)
def test_a_hazard_that_was_seen_stops_and_one_that_leads_is_not_talked_away(
    photo: list[Ranked],
    programme: Programme,
    threshold: Thresholds,
    answers: dict[str, str],
    fact: str,
) -> None:
    def said(answer: str) -> Suggestion:
        given = {**answers, fact: answer}
        return suggest(photo, MAPS, CATEGORIES, programme, threshold, facts=given)

    seen = said("yes")
    assert seen.decision == "stop"
    assert CATEGORIES.get(seen.alternatives[0].category).asked in {
        each for each, answer in {**answers, fact: "yes"}.items() if answer == "yes"
    }
    before = suggest(photo, MAPS, CATEGORIES, programme, threshold)
    unsure = dict.fromkeys(HAZARD_FACTS, "not_sure")
    if hazard_in(before) >= threshold.stop:
        nobody_looked = suggest(photo, MAPS, CATEGORIES, programme, threshold, facts=unsure)
        assert nobody_looked.decision == "stop"
    if before.categories and before.categories[0].id in STOP:
        assert suggest(
            photo, MAPS, CATEGORIES, programme, threshold, facts=dict.fromkeys(HAZARD_FACTS, "no")
        ).decision in {"stop", "not_an_item"}


@given(photos(), programmes, facts)
@settings(max_examples=300, deadline=None)
def test_an_answer_only_ever_settles(
    photo: list[Ranked], programme: Programme, answers: dict[str, str]
) -> None:
    """Without evidence against a category, the settled mass never falls with a further answer.

    What is taken for granted is answered first: another answer brings in the rule for it.

    Evidence may take a settled category out, and rightly so; then the law is about what is left:
    no category that fits the answer gets a new route.
    """
    shares = {each.id: each.p for each in photo if each.id in IDS}
    answered = CATEGORIES.known_answers(answers)
    fitting = {
        category: p
        for category, p in shares.items()
        if all(CATEGORIES.get(category).fits(f, a) for f, a in answered.items())
    }
    assume(fitting)
    so_far = {f: a for f, a in answered.items() if CATEGORIES.fact(f).assumed}
    before = candidates(rank(fitting), CATEGORIES, programme, so_far)
    for fact, answer in answered.items():
        so_far[fact] = answer
        after = candidates(rank(fitting), CATEGORIES, programme, so_far)
        for old, new in zip(before, after, strict=True):
            assert new.routes <= old.routes
        assert settled_route(after)[1] >= settled_route(before)[1] - 1e-12
        before = after


@given(photos(), facts)
def test_weighing_facts_leaves_only_what_fits_and_keeps_its_proportions(
    photo: list[Ranked], answers: dict[str, str]
) -> None:
    shares = {each.id: each.p for each in photo if each.id in IDS}
    answered = CATEGORIES.known_answers(answers)
    weighed, fits = weigh_facts(shares, CATEGORIES, answered)
    if not fits or not answered:
        assert weighed == shares
        return
    assert abs(fsum(weighed.values()) - 1) < 1e-9
    for category, p in weighed.items():
        assert all(CATEGORIES.get(category).fits(f, a) for f, a in answered.items())
        for other, q in weighed.items():
            assert abs(p * shares[other] - q * shares[category]) < 1e-9


@given(st.sampled_from(IDS), programmes, st.data())
@settings(max_examples=200, deadline=None)
def test_answering_question_after_question_ends_in_one_route(
    category: str, programme: Programme, data: st.DataObject
) -> None:
    """Every question of a chosen category changes the route, and their end is the recorded one."""
    answers: dict[str, str] = {}
    found = suggestion_for_category(category, CATEGORIES, programme)
    for _ in CATEGORIES.facts:
        if found.question is None:
            break
        fact = found.question.fact
        assert fact in programme.pivotal_facts(category, answers)
        offered = [answer for answer, _ in found.question.answers]
        answers[fact] = data.draw(st.sampled_from([*offered, "not_sure"]))
        found = suggestion_for_category(category, CATEGORIES, programme, facts=answers)
    assert found.question is None
    assert found.decision == ("stop" if category in STOP else "route")
    assert found.route == resolve_route(category, CATEGORIES, programme, answers)
    if "not_sure" not in answers.values():
        assert len({rule.route for rule in programme.routes_for(category, answers)}) == 1


@given(photos(), programmes, limits)
@settings(max_examples=300, deadline=None)
def test_a_photo_asks_only_what_may_send_the_item_elsewhere(
    photo: list[Ranked], programme: Programme, threshold: Thresholds
) -> None:
    """There are two categories (or one) and two answers that fit them and lead to other routes."""
    found = suggest(photo, MAPS, CATEGORIES, programme, threshold)
    if found.question is None or looks_for_a_hazard(found):
        return
    fact = found.question.fact
    assert len(found.question.answers) > 1
    led = {
        (answer, frozenset(rule.route for rule in programme.routes_for(each.id, {fact: answer})))
        for answer, _ in found.question.answers
        for each in found.categories
        if each.p >= 0.001 and CATEGORIES.get(each.id).fits(fact, answer)
    }
    assert any(one[0] != other[0] and one[1] != other[1] for one in led for other in led)
    declined = suggest(photo, MAPS, CATEGORIES, programme, threshold, declined=[fact])
    assert declined.question is None or declined.question.fact != fact


learned_shares = st.dictionaries(
    st.sampled_from(IDS), st.integers(1, 1_000_000), min_size=1, max_size=8
).map(lambda w: {each: weight / sum(w.values()) for each, weight in w.items()})


@given(photos(), learned_shares, programmes, limits, facts)
@settings(max_examples=300, deadline=None)
def test_learning_makes_nothing_less_careful(
    photo: list[Ranked],
    learned: dict[str, float],
    programme: Programme,
    threshold: Thresholds,
    answers: dict[str, str],
) -> None:
    plain = suggest(photo, MAPS, CATEGORIES, programme, threshold, facts=answers)
    own = suggest(photo, MAPS, CATEGORIES, programme, threshold, facts=answers, learned=learned)
    if plain.decision == "stop":
        assert own.decision == "stop"
    if looks_for_a_hazard(plain):
        assert own.decision == "stop" or looks_for_a_hazard(own)
    if plain.decision == "not_an_item":
        assert own.decision in ("not_an_item", "stop")
    grave = {c.id for each in STOP for c in CATEGORIES.cautions_of(CATEGORIES.get(each))}
    assert {c.id for c in plain.cautions} & grave <= {c.id for c in own.cautions}
    hazard = fsum(each.p for each in plain.categories if each.id in STOP)
    assert fsum(each.p for each in own.categories if each.id in STOP) >= hazard - 1e-9
    assert fsum(each.p for each in own.categories) <= 1 + 1e-9
    assert all(0 <= each.p <= 1 + 1e-9 for each in own.categories)
