"""What would be shown: hazards warned of, false stops, empty pictures named, by hand."""

from __future__ import annotations

import numpy as np

from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from classifier.rules.suggestion_parts import Thresholds
from training.judging.evaluate import Scored
from training.judging.use import Desk, in_use
from training.pictures.forms import load_forms

TABLE = load_forms()
CATEGORIES = load_categories()
DESK = Desk(
    TABLE,
    CATEGORIES,
    next(p for p in load_shipped_programmes(CATEGORIES) if p.id == "alder_valley"),
    Thresholds(route=0.8, stop=0.4, unsure=0.5, non_item=0.5),
)


def _scored(*pictures: tuple[str, dict[str, float]]) -> Scored:
    """Pictures with their true form and what the network says; the rest goes to textile."""
    p = np.zeros((len(pictures), len(TABLE.ids)))
    for row, (_, shares) in zip(p, pictures, strict=True):
        for form, share in shares.items():
            row[TABLE.ids.index(form)] = share
        row[TABLE.ids.index("textile")] += 1 - row.sum()
    labels = np.array([TABLE.ids.index(form) for form, _ in pictures])
    return Scored(p, labels, [str(i) for i in range(len(pictures))])


def test_which_forms_are_hazards() -> None:
    named = {id_ for id_, is_hazard in zip(TABLE.ids, DESK.hazards(), strict=True) if is_hazard}
    assert named == {"aerosol_can", "broken_glass", "batteries", "lamps"}


def test_hazards_stop_or_bear_a_caution_or_neither() -> None:
    found = in_use(
        _scored(
            ("aerosol_can", {"aerosol_can": 0.9}),
            ("lamps", {"lamps": 0.2}),
            ("batteries", {}),
        ),
        DESK,
    )
    assert set(found) == {"hazards_warned", "hazards_stopped"}
    assert found["hazards_stopped"]["value"] == 0.3333
    assert found["hazards_warned"]["value"] == 0.6667
    assert found["hazards_warned"]["pictures"] == 3


def test_other_items_that_stop_and_empty_pictures_that_are_named() -> None:
    found = in_use(
        _scored(
            ("textile", {}),
            ("drink_can", {"aerosol_can": 0.6}),
            ("textile", {"broken_glass": 0.2}),
            ("food", {}),
            ("non_item", {"non_item": 0.9}),
            ("non_item", {}),
        ),
        DESK,
    )
    assert found["false_stops"]["value"] == 0.25
    assert found["false_cautions"]["value"] == 0.5
    assert found["non_items_named"] == {
        "pictures": 2, "value": 0.5, "low": found["non_items_named"]["low"],
        "high": found["non_items_named"]["high"],
    }  # fmt: skip
