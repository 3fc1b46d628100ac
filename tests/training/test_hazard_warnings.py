"""How often the shipped model warns of hazards, and of what is none, on photographs."""

from __future__ import annotations

import pytest

from classifier.inference.bundle import find_bundle, load_bundle
from classifier.rules.categories import load_categories
from tests.hazard_warnings import DATA, Tally, drawn, look_at

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not DATA.is_dir(),
        reason="the photographs are no part of the repository; they are looked for in "
        "../shared/data",
    ),
]


def test_hazards_are_warned_of_and_ordinary_things_seldom() -> None:
    """95 of 100 hazards, under 15 of 100 others, and a stop on few of these."""
    categories = load_categories()
    bundle = load_bundle(find_bundle("household"))
    tallies = look_at(drawn(DATA, bundle, categories, 80), bundle, categories)

    def both(kind: str) -> Tally:
        total = Tally()
        for (found, _), tally in tallies.items():
            if found == kind:
                total.pictures += tally.pictures
                total.stopped += tally.stopped
                total.warned += tally.warned
                total.cautioned += tally.cautioned
        return total

    hazards, ordinary = both("hazard"), both("ordinary")
    assert hazards.pictures >= 80
    assert ordinary.pictures >= 80  # the network learned from every source: none is new to it
    assert hazards.in_hundred(hazards.warned) >= 95
    assert ordinary.in_hundred(ordinary.cautioned) < 15
    assert ordinary.in_hundred(ordinary.stopped) < 5
