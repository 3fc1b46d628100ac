"""How well a network does on held-out pictures, with intervals over groups."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.metrics import f1_score

from classifier.estimators.abstention import auroc, selective_accuracy
from classifier.estimators.calibration import expected_calibration_error
from classifier.estimators.intervals import Statistic, group_bootstrap, wilson
from classifier.estimators.result import Estimate
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme
from classifier.rules.suggestion import resolve_route
from classifier.rules.suggestion_parts import NON_ITEM
from training.pictures.forms import FormTable

DRAWS = 500
COVERAGE = 0.7
_FEW_GROUPS = 2
_ENOUGH_GROUPS = 5  # of each kind; a draw of groups lacks such a kind with probability e**-5


@dataclass(frozen=True, slots=True)
class Scored:
    """Probabilities (n, F) of one network on n pictures with decided forms."""

    probabilities: NDArray[np.float64]
    labels: NDArray[np.int64]
    groups: list[str]

    def only(self, wanted: NDArray[np.bool_]) -> Scored:
        """Return the pictures where `wanted` holds."""
        groups = [group for group, keep in zip(self.groups, wanted, strict=True) if keep]
        return Scored(self.probabilities[wanted], self.labels[wanted], groups)


def parent_probabilities(
    probabilities: NDArray[np.float64], parents: Sequence[int]
) -> NDArray[np.float64]:
    """Sum forms to a coarser level: (n, F) to (n, parents); -1 belongs to none."""
    index = np.asarray(parents)
    return np.stack(
        [probabilities[:, index == p].sum(axis=1) for p in range(index.max() + 1)], axis=1
    )


def route_matrix(
    table: FormTable, categories: Categories, programme: Programme
) -> tuple[NDArray[np.float64], list[str]]:
    """Share of each form's items that a programme sends to each route, no fact being known.

    Where a rule waits for a fact, the most cautious route counts, as in use. Returns (F, R) and
    the names of the routes.
    """
    shares: list[dict[str, float]] = []
    for form in table.forms:
        share: dict[str, float] = {}
        for category, weight in form.categories.items():
            route = resolve_route(category, categories, programme, {}).route
            share[route] = share.get(route, 0.0) + weight
        shares.append(share)
    routes = sorted({route for share in shares for route in share})
    return np.array([[share.get(route, 0.0) for route in routes] for share in shares]), routes


def items_only(scored: Scored, table: FormTable) -> Scored:
    """Leave out the pictures that show no item."""
    return scored.only(np.asarray(table.parents("material"))[scored.labels] >= 0)


def material_answers(
    scored: Scored, table: FormTable
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """How sure the network is of the material of each item, and whether it is right."""
    scored = items_only(scored, table)
    parents = np.asarray(table.parents("material"))
    materials = parent_probabilities(scored.probabilities, parents.tolist())
    right: NDArray[np.bool_] = materials.argmax(axis=1) == parents[scored.labels]
    return materials.max(axis=1), right


def score(scored: Scored, table: FormTable, routes: NDArray[np.float64]) -> dict[str, Any]:
    """Accuracy on items: forms, materials and routes; calibration; abstention; with intervals.

    Intervals are 95 %, from resampling groups. That of ECE lies rather high: pictures that a draw
    repeats make its bins uneven, as few pictures do.

    Pictures without an item have no material and no route, and count in `by_form` only.
    """
    scored = items_only(scored, table)
    p, labels = scored.probabilities, scored.labels
    parents = np.asarray(table.parents("material"))
    materials = parent_probabilities(p, parents.tolist())
    surest, right = material_answers(scored, table)
    sent = p @ routes
    marks = {
        "form_top1": p.argmax(axis=1) == labels,
        "form_top3": _among_top(p, labels, 3),
        "material_top1": right,
        "material_top3": _among_top(materials, parents[labels], 3),
        "route": sent.argmax(axis=1) == routes[labels].argmax(axis=1),
    }
    guess = p.argmax(axis=1)
    figures = {
        "form_macro_f1": lambda rows: _macro_f1(labels[rows], guess[rows]),
        "ece": lambda rows: expected_calibration_error(surest[rows], right[rows]),
        "accuracy_at_70_coverage": lambda rows: (
            selective_accuracy(surest[rows], right[rows], coverage=COVERAGE).accuracy.value
        ),
    }
    return {
        "pictures": len(labels),
        "groups": len(set(scored.groups)),
        **{name: share_interval(mark, scored.groups) for name, mark in marks.items()},
        **{name: _interval(figure, scored.groups) for name, figure in figures.items()},
    }


def _macro_f1(labels: NDArray[np.int64], guess: NDArray[np.int64]) -> float:
    """Mean over the labels that occur of their F1."""
    occur = np.unique(labels)
    return float(f1_score(labels, guess, labels=occur, average="macro", zero_division=0))


def _interval(statistic: Statistic, groups: Sequence[str]) -> dict[str, float]:
    """Give a figure with its 95 % interval; the figure alone where groups can't be resampled."""
    if len(set(groups)) < _FEW_GROUPS:
        return {"value": round(statistic(np.arange(len(groups))), 4)}
    return _rounded(group_bootstrap(groups, statistic, draws=DRAWS))


def _rounded(estimate: Estimate) -> dict[str, float]:
    return {
        "value": round(estimate.value, 4),
        "low": round(estimate.low, 4),
        "high": round(estimate.high, 4),
    }


def score_by(
    names: Sequence[str], scored: Scored, table: FormTable, routes: NDArray[np.float64]
) -> dict[str, dict[str, Any]]:
    """Scores of the pictures of each name; a name that has no item is left out."""
    is_item = np.asarray(table.parents("material"))[scored.labels] >= 0
    named = np.asarray(names)
    return {
        name: score(scored.only(named == name), table, routes)
        for name in sorted(set(named[is_item].tolist()))
    }


def _among_top(
    probabilities: NDArray[np.float64], labels: NDArray[np.int64], k: int
) -> NDArray[np.bool_]:
    top = np.argsort(-probabilities, axis=1, kind="stable")[:, :k]
    result: NDArray[np.bool_] = (top == labels[:, None]).any(axis=1)
    return result


def share_interval(marks: NDArray[np.bool_], groups: Sequence[str]) -> dict[str, float]:
    """Share with its 95 % interval; Wilson's where there are too few groups to resample."""
    if len(set(groups)) < _FEW_GROUPS:
        estimate = wilson(int(marks.sum()), len(marks))
    else:
        estimate = group_bootstrap(groups, lambda rows: float(marks[rows].mean()), draws=DRAWS)
    return _rounded(estimate)


def by_form(scored: Scored, table: FormTable) -> list[dict[str, Any]]:
    """One line a form that occurs, with Wilson's 95 % interval and what it is taken for most."""
    return _lines("form", scored.labels, scored.probabilities.argmax(axis=1), table.ids)


def by_material(scored: Scored, table: FormTable) -> list[dict[str, Any]]:
    """The same for materials; pictures without an item have none."""
    parents = np.asarray(table.parents("material"))
    items = scored.only(parents[scored.labels] >= 0)
    guess = parent_probabilities(items.probabilities, parents.tolist()).argmax(axis=1)
    return _lines("material", parents[items.labels], guess, table.materials)


def _lines(
    kind: str, labels: NDArray[np.int64], guess: NDArray[np.int64], names: Sequence[str]
) -> list[dict[str, Any]]:
    lines = []
    for number in np.unique(labels):
        rows = labels == number
        right = int((guess[rows] == number).sum())
        wrong = guess[rows & (guess != number)]
        taken = ""
        if len(wrong):
            most = int(np.bincount(wrong).argmax())
            taken = f"{names[most]} ({int((wrong == most).sum())})"
        estimate = wilson(right, int(rows.sum()))
        lines.append(
            {
                kind: names[number],
                "pictures": int(rows.sum()),
                "right": right,
                "low": round(estimate.low, 3),
                "high": round(estimate.high, 3),
                "taken_for": taken,
            }
        )
    return lines


def non_item_auroc(scored: Scored, table: FormTable) -> dict[str, float] | None:
    """How well pictures without an item are separated from items: area under the ROC curve.

    The score is the doubt left by the surest item form. None where one of the kinds is missing; no
    interval where one has fewer than `_ENOUGH_GROUPS` groups, as a draw would often lack it.
    """
    non_item = table.ids.index(NON_ITEM) if NON_ITEM in table.ids else -1
    empty = scored.labels == non_item
    if empty.all() or not empty.any():
        return None
    doubt = 1 - np.delete(scored.probabilities, non_item, axis=1).max(axis=1)
    whole = auroc(doubt, empty)

    def area(rows: NDArray[np.intp]) -> float:
        # Less than one draw in a hundred lacks a kind and says nothing: the whole stands for it.
        both = empty[rows].any() and not empty[rows].all()
        return auroc(doubt[rows], empty[rows]) if both else whole

    groups = np.asarray(scored.groups)
    if min(len(set(groups[kind])) for kind in (empty, ~empty)) < _ENOUGH_GROUPS:
        return {"value": round(whole, 4)}
    return _interval(area, scored.groups)
