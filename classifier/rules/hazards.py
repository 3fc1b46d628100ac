"""Hazards that a person can see and a photo only suggests: what to ask before the tool says stop.

A stop where nothing dangerous lies costs trust, and whoever stopped five times for drink cans walks
past the sixth. So where a harmless category leads, the fact of the likeliest hazard is asked first
(`Category.asked`). "Yes" is believed over the photo; "no" clears the hazard, but only while a
harmless category leads; "not sure" stops.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import fsum

from classifier.rules.category_parts import Categories, Fact
from classifier.rules.route_mass import Candidate, reaches
from classifier.rules.suggestion_parts import Thresholds


def weigh_hazards(
    shares: Mapping[str, float], categories: Categories, facts: Mapping[str, str]
) -> dict[str, float]:
    """Return the shares after what was said of hazards; they add up to 1 where that changed them.

    `shares` are those of the photo, before any other answer. "No" is not heard where a hazard leads
    them.
    """
    stops = [each for each in categories.categories if each.asked]
    seen = [each.id for each in stops if facts.get(each.asked or "") == "yes"]
    if seen:
        return _only(seen, shares)
    cleared = {each.id for each in stops if facts.get(each.asked or "") == "no"} & shares.keys()
    left = {category: p for category, p in shares.items() if category not in cleared}
    if not cleared or _hazard_leads(shares, categories):
        return dict(shares)
    whole = fsum(left.values())
    return {category: p / whole for category, p in left.items()}


def fact_before_stop(
    among: Sequence[Candidate],
    categories: Categories,
    thresholds: Thresholds,
    *,
    facts: Mapping[str, str],
    closed: frozenset[str],
) -> Fact | None:
    """Return the fact to ask before a stop, None where the stop holds without asking.

    It holds where no harmless category is likelier than all hazards together, and where hazards
    that can't be asked about any more reach the threshold by themselves.
    """
    leading = among[0]
    hazards = [each for each in among if each.category.stop]
    if leading.category.stop or reaches(fsum(each.p for each in hazards), leading.p):
        return None
    known = {*facts, *closed, None}
    askable = [each for each in hazards if each.category.asked not in known]
    item = fsum(each.p for each in among)
    beyond = fsum(each.p for each in hazards if each.category.asked in known)
    if not askable or reaches(beyond / item, thresholds.stop):
        return None
    return categories.fact(askable[0].category.asked or "")


def _only(seen: Sequence[str], shares: Mapping[str, float]) -> dict[str, float]:
    named = {category: shares[category] for category in seen if shares.get(category)}
    whole = fsum(named.values())
    return {category: p / whole for category, p in named.items()} if named else {min(seen): 1.0}


def _hazard_leads(shares: Mapping[str, float], categories: Categories) -> bool:
    leading = min(shares, key=lambda category: (-shares[category], category))
    return categories.get(leading).stop
