"""What a sorter would be shown: hazards warned of, false stops, pictures without an item named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from classifier.estimators.intervals import wilson
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from classifier.rules.suggestion import suggest
from classifier.rules.suggestion_parts import NON_ITEM, Ranked, Suggestion, Thresholds
from training.judging.evaluate import Scored
from training.pictures.forms import FormTable

_MOSTLY = 0.5  # a form of which more leads to stop categories is a hazard
_NAMES = frozenset({"route", "ask", "stop"})  # decisions that name something


@dataclass(frozen=True, slots=True)
class Desk:
    """All that a suggestion takes beside the probabilities of one picture."""

    table: FormTable
    categories: Categories
    programme: Programme
    thresholds: Thresholds

    def shown(self, probabilities: NDArray[np.float64]) -> list[Suggestion]:
        """Suggestions for pictures with probabilities (n, F), no fact being known."""
        leads_to: Mapping[str, Mapping[str, float]] = {
            form.id: form.categories for form in self.table.forms
        }
        return [
            suggest(
                [Ranked(id_, float(p)) for id_, p in zip(self.table.ids, row, strict=True)],
                leads_to,
                self.categories,
                self.programme,
                self.thresholds,
            )
            for row in probabilities / probabilities.sum(axis=1, keepdims=True)
        ]

    def hazards(self) -> NDArray[np.bool_]:
        """Which forms mostly lead to categories that stop, (F,)."""
        stops = {category.id for category in self.categories.categories if category.stop}
        return np.array(
            [
                sum(share for id_, share in form.categories.items() if id_ in stops) > _MOSTLY
                for form in self.table.forms
            ]
        )

    def warns(self, suggestion: Suggestion) -> bool:
        """Whether a suggestion stops or bears a caution of a category that stops."""
        grave = {
            caution.id
            for category in self.categories.categories
            if category.stop
            for caution in self.categories.cautions_of(category)
        }
        return suggestion.decision == "stop" or any(c.id in grave for c in suggestion.cautions)


def in_use(scored: Scored, desk: Desk) -> dict[str, Any]:
    """Shares with Wilson's 95 % intervals; a kind of which there is no picture is left out.

    `hazards_warned`: pictures of hazards that stop or bear a caution of a hazard;
    `hazards_stopped`: those that stop; `false_stops` and `false_cautions`: the same for other
    items; `non_items_named`: pictures without an item that are shown a route, a question or a stop.
    """
    shown = desk.shown(scored.probabilities)
    stopped = np.array([each.decision == "stop" for each in shown])
    warned = np.array([desk.warns(each) for each in shown])
    named = np.array([each.decision in _NAMES for each in shown])
    empty = scored.labels == desk.table.ids.index(NON_ITEM)
    hazard = desk.hazards()[scored.labels]
    marks = {
        "hazards_warned": warned[hazard],
        "hazards_stopped": stopped[hazard],
        "false_stops": stopped[~hazard & ~empty],
        "false_cautions": warned[~hazard & ~empty],
        "non_items_named": named[empty],
    }
    return {name: _share(mark) for name, mark in marks.items() if len(mark)}


def _share(mark: NDArray[np.bool_]) -> dict[str, float]:
    estimate = wilson(int(mark.sum()), len(mark))
    return {
        "pictures": len(mark),
        "value": round(float(mark.mean()), 4),
        "low": round(estimate.low, 4),
        "high": round(estimate.high, 4),
    }
