"""An evaluation as one page that needs nothing else: figures, charts and the worst mistakes."""

from __future__ import annotations

import base64
import json
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, StrictUndefined
from markupsafe import Markup
from sklearn.metrics import confusion_matrix

from classifier.errors import DataFileError
from classifier.estimators.abstention import risk_coverage
from classifier.estimators.calibration import Reliability, reliability
from classifier.inference.photo import clean_copy
from training.judging.card import measures_of
from training.judging.charts import reliability_chart, risk_chart
from training.judging.evaluate import COVERAGE, material_answers
from training.judging.judge import Asked

MOST_MISTAKES = 24
_THUMBNAIL = 160  # px, longer side
_SHADES = 5  # greys of the confusion matrix


@dataclass(frozen=True, slots=True)
class Mistake:
    """A picture that was taken for something else, and how sure the bundle was."""

    name: str
    true: str
    guess: str
    p: float
    picture: str  # data URI


@dataclass(frozen=True, slots=True)
class Cell:
    """Pictures of one label taken for one label; `shade` from 0 (none of its row) to `_SHADES`."""

    n: int
    shade: int
    right: bool


def write_page(directory: Path, asked: Asked, result: dict[str, Any]) -> Path:
    """Write `result.json` and `index.html` into a directory; returns the page.

    Raises
    ------
    DataFileError
        The directory can't be written, or there is no picture of an item.
    """
    if not result["by_source"]:
        raise DataFileError("no picture shows an item, so that there is nothing to draw")
    page = page_text(asked, result)
    try:
        directory.mkdir(parents=True, exist_ok=True)
        (directory / "result.json").write_text(json.dumps(result, indent=1) + "\n", "utf-8")
        (directory / "index.html").write_text(page, encoding="utf-8")
    except OSError as error:
        raise DataFileError(f"{directory} can't be written ({error.strerror})") from error
    return directory / "index.html"


def page_text(asked: Asked, result: dict[str, Any]) -> str:
    """Return the page of the figures that `judge` returns."""
    folder = files("training") / "data"
    surest, right = material_answers(asked.scored, asked.table)
    bins, curve = reliability(surest, right), risk_coverage(surest, right)
    names, cells = confusion(asked)
    mistakes = worst_mistakes(asked)
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    template = environment.from_string((folder / "page.html").read_text(encoding="utf-8"))
    return template.render(
        result=result,
        style=Markup((folder / "page.css").read_text(encoding="utf-8")),
        kind=asked.judged_by,
        measures=measures_of(asked.judged_by),
        reliability=Markup(reliability_chart(bins)),
        bins=_filled(bins),
        ece=round(bins.expected_error, 4),  # as in the table above it
        risk=Markup(risk_chart(curve, marked=COVERAGE)),
        coverages=[
            (share, curve.risk[max(0, round(share * len(surest)) - 1)])
            for share in (0.1, 0.3, 0.5, 0.7, 0.9, 1.0)
        ],
        area=curve.area,
        names=names,
        cells=cells,
        mistakes=mistakes,
        wrong=int((asked.scored.probabilities.argmax(axis=1) != asked.scored.labels).sum()),
    )


def _filled(bins: Reliability) -> list[tuple[float, float, int, float, float]]:
    return [
        (
            float(bins.lower[i]),
            float(bins.upper[i]),
            int(bins.n[i]),
            float(bins.confidence[i]),
            float(bins.accuracy[i]),
        )
        for i in range(len(bins.n))
        if bins.n[i]
    ]


def confusion(asked: Asked) -> tuple[list[str], list[list[Cell]]]:
    """Names of the labels that occur as truth or guess, and true (rows) against guessed ones."""
    labels, guess = asked.scored.labels, asked.scored.probabilities.argmax(axis=1)
    shown = np.union1d(labels, guess)
    counts = confusion_matrix(labels, guess, labels=shown)
    shares = counts / counts.sum(axis=1, keepdims=True).clip(min=1)
    shades = np.ceil(shares * _SHADES).astype(int)
    cells = [
        [Cell(int(counts[i, j]), int(shades[i, j]), i == j) for j in range(len(shown))]
        for i in range(len(shown))
    ]
    return [asked.table.forms[i].name for i in shown], cells


def worst_mistakes(asked: Asked) -> list[Mistake]:
    """Return the surest of the wrong answers, as small pictures without metadata."""
    p = asked.scored.probabilities
    guess, surest = p.argmax(axis=1), p.max(axis=1)
    wrong = np.flatnonzero(guess != asked.scored.labels)
    rows = wrong[np.argsort(-surest[wrong], kind="stable")][:MOST_MISTAKES]
    forms = asked.table.forms
    mistakes = []
    for row in rows:
        path = asked.examples[row].path
        jpeg = clean_copy(path.read_bytes(), max_side=_THUMBNAIL, quality=75)
        mistakes.append(
            Mistake(
                path.name,
                forms[asked.scored.labels[row]].name,
                forms[guess[row]].name,
                float(surest[row]),
                "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii"),
            )
        )
    return mistakes
