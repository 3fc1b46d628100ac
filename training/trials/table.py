"""Scores of trials and the table that compares them."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from classifier.inference.preprocess import view_probabilities
from classifier.rules.categories import load_categories
from classifier.rules.programme import load_shipped_programmes
from training.judging.card import interval_text
from training.judging.evaluate import Scored, route_matrix, score
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable
from training.recipe import Recipe

PROGRAMME = "alder_valley"
_SHOWN = ("form_top1", "material_top1", "material_top3", "route")


def trial_scores(
    data: Dataset,
    rows: NDArray[np.int64],
    logits: NDArray[np.float32],
    table: FormTable,
    held_out: str,
) -> dict[str, Any]:
    """Scores by source: on the whole source held out, else on the test split.

    `rows` are the row numbers of the pictures asked, `logits` (n, views, F) their answers at
    temperature 1.
    """
    categories = load_categories()
    programme = next(p for p in load_shipped_programmes(categories) if p.id == PROGRAMME)
    routes, _ = route_matrix(table, categories, programme)
    probabilities = view_probabilities(logits, 1.0)
    labels = data.labels.forms.numpy()[rows]
    sources = np.array([data.examples[row].source for row in rows])
    is_item = np.asarray([*table.parents("material"), -1])[labels] >= 0
    tested = np.array([data.splits[row] == "test" for row in rows])
    result: dict[str, Any] = {"unseen": {}, "test_split": {}}
    for source in sorted(set(sources)):
        part = (sources == source) & is_item & (tested | (source in held_out.split("+")))
        if part.any():
            groups = [data.groups[row] for row in rows[part]]
            scores = score(Scored(probabilities[part], labels[part], groups), table, routes)
            result["unseen" if source in held_out.split("+") else "test_split"][source] = scores
    return result


def results_table(paths: Sequence[Path]) -> str:
    """Markdown: a line a trial and source held out, the options that differ from the defaults."""
    defaults = dataclasses.asdict(Recipe())
    lines = [
        "| trial | options | unseen source | pictures | form | material | first three | route "
        "| ECE | surest 70 % | landfill, test | whiteboard, test | s |",
        "|" + " --- |" * 13,
    ]
    for path in paths:
        for text in path.read_text(encoding="utf-8").splitlines():
            lines += _lines(json.loads(text), defaults)
    return "\n".join(lines) + "\n"


def _lines(result: dict[str, Any], defaults: dict[str, Any]) -> list[str]:
    changed = {
        name: value
        for name, value in result["options"].items()
        if value != defaults.get(name) and name not in {"name", "sources", "sisters", "views"}
    }
    options = ", ".join(f"{name} {value}" for name, value in changed.items()) or "defaults"
    if note := result.get("note"):
        options += f" ({note})"
    seen = result["test_split"]
    material = [
        f"{seen[source]['material_top1']['value']:.2f}" if source in seen else ""
        for source in ("landfill", "whiteboard")
    ]
    lines = []
    for source, scores in (result["unseen"] or {"none": None}).items():
        cells: list[str] = [result["trial"], options, source]
        if scores is None:
            cells += [""] * 7
        else:
            cells.append(str(scores["pictures"]))
            cells += [interval_text(scores[measure]) for measure in _SHOWN]
            cells += [
                _number(scores["ece"], 3),
                _number(scores.get("accuracy_at_70_coverage"), 2),
            ]
        lines.append("| " + " | ".join([*cells, *material, str(result["seconds"] or "")]) + " |")
    return lines


def _number(figure: dict[str, float] | float | None, digits: int) -> str:
    """Write the value of a figure; of older trials only the value was kept."""
    if figure is None:
        return ""
    value = figure["value"] if isinstance(figure, dict) else figure
    return f"{value:.{digits}f}"
