"""Score a finished bundle on labelled pictures, exactly as it would be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from classifier.errors import DataFileError, TallytareError
from classifier.inference.bundle import Bundle, find_bundle, load_bundle
from classifier.inference.photo import decode_photo
from classifier.inference.predict import Predictor
from classifier.rules.categories import load_categories
from classifier.rules.category_parts import Categories
from classifier.rules.programme import Programme, load_shipped_programmes
from training.judging.card import class_table, interval_text, score_table
from training.judging.evaluate import (
    Scored,
    by_form,
    by_material,
    non_item_auroc,
    route_matrix,
    score_by,
)
from training.learning.levels import Level, fitting_level, level_named
from training.pictures.forms import FormTable
from training.pictures.manifest import Example, read_examples
from training.pictures.notes import bar


@dataclass(frozen=True, slots=True)
class Asked:
    """A bundle's answers, the pictures asked row by row, and a sentence for what was left out.

    `judged_by` is one of the `LEVELS`; the rows of `table` are forms or categories accordingly.
    """

    bundle: Bundle
    judged_by: str
    table: FormTable
    examples: list[Example]
    scored: Scored
    skipped: list[str]

    @property
    def sources(self) -> list[str]:
        """Source of each picture."""
        return [example.source for example in self.examples]


def find_programme(programme_id: str, categories: Categories) -> Programme:
    """Return a shipped programme; DataFileError where there is none of that name."""
    programmes = {p.id: p for p in load_shipped_programmes(categories)}
    if programme_id not in programmes:
        raise DataFileError(f"no programme {programme_id!r}; shipped are {', '.join(programmes)}")
    return programmes[programme_id]


def judge(
    data: Path,
    bundle_name: str | None,
    programme_id: str,
    *,
    sources: Sequence[str] = (),
    split: str = "",
    by: str | None = None,
) -> tuple[Asked, dict[str, Any]]:
    """Score a bundle by source and label; returns its answers and the figures.

    `by` is one of the `LEVELS`; where it is None the labels decide (`fitting_level`). The keys of
    the figures speak of forms either way; `judged_by` says what they are of.

    Raises
    ------
    BundleError
        No such bundle, or a damaged one.
    DataFileError
        No picture with a label that the bundle knows, or an unknown programme.
    """
    bundle = load_bundle(find_bundle(bundle_name))
    categories = load_categories()
    programme = find_programme(programme_id, categories)
    examples = read_examples(data, sources=sources, split=split)
    level = by or fitting_level({e.form for e in examples}, [bundle], categories)
    asked = ask(examples, bundle, by=level)
    routes, _ = route_matrix(asked.table, categories, programme)
    result: dict[str, Any] = {
        "bundle": bundle.name,
        "version": bundle.version,
        "programme": programme_id,
        "judged_by": asked.judged_by,
        "by_source": score_by(asked.sources, asked.scored, asked.table, routes),
        "by_material": by_material(asked.scored, asked.table),
        "by_form": by_form(asked.scored, asked.table),
        "non_item_auroc": non_item_auroc(asked.scored, asked.table),
        "learned_from": learned_from(bundle, asked.sources, split),
        "skipped": asked.skipped,
    }
    return asked, result


def learned_from(bundle: Bundle, sources: Iterable[str], split: str) -> list[str]:
    """Name the sources that taught a bundle, but for splits that are kept from learning."""
    taught = {source.name for source in bundle.manifest.sources}
    return sorted(taught.intersection(sources)) if split in ("", "train") else []


def flattery(bundle: str, learned: Sequence[str]) -> str:
    """Warn of figures on pictures that a bundle may have learned from."""
    return (
        f"{bundle} learned from pictures of {', '.join(learned)}: where these are among them, the "
        "figures flatter it (--split test asks only those that a manifest keeps for judging)"
    )


def judged_text(result: dict[str, Any]) -> str:
    """Tables of the figures that `judge` returns."""
    kind = result["judged_by"]
    parts = [score_table(result["by_source"], kind), class_table("form", result["by_form"], kind)]
    if result["non_item_auroc"] is not None:
        parts.append(
            "pictures without an item against items: AUROC "
            + interval_text(result["non_item_auroc"])
        )
    if result["learned_from"]:
        parts.append(flattery(result["bundle"], result["learned_from"]))
    if result["skipped"]:
        parts.append("\n".join(f"skipped {line}" for line in result["skipped"]))
    return "\n\n".join(parts) + "\n"


def _strangers(examples: Sequence[Example], bundle: Bundle, level: Level) -> list[str]:
    """Say which labels the bundle does not know by `level`, and which ones by their category."""
    strange = Counter(e.form for e in examples if e.form not in level.number)
    undecided = strange.pop("", 0)
    others = level_named("category", bundle, load_categories()).number if strange else {}
    lines = [
        f"{_pictures(n)}: the bundle has no {level.kind} {label!r}"
        + ("; --by category judges what it leads to" if label in others else "")
        for label, n in strange.items()
    ]
    return lines + ([f"{_pictures(undecided)} without a label"] if undecided else [])


def _pictures(n: int) -> str:
    return f"{n} picture" if n == 1 else f"{n} pictures"


def ask(examples: Sequence[Example], bundle: Bundle, *, by: str = "form") -> Asked:
    """Put the pictures with a label that the bundle knows to it.

    `by` is one of the `LEVELS`: a label counts as the form, or as the category, that it names.

    Raises
    ------
    BundleError
        The bundle leads to categories that the list does not have.
    DataFileError
        There is no such picture, or none that can be read.
    """
    level = level_named(by, bundle, load_categories())
    predictor = Predictor(bundle)
    skipped = _strangers(examples, bundle, level)
    rows, asked = [], []
    kept = [e for e in examples if e.form in level.number]
    for example in bar(kept, len(kept), "evaluating"):
        try:
            prediction = predictor.predict(decode_photo(example.path.read_bytes()))
        except (TallytareError, OSError) as error:
            skipped.append(f"{example.path}: {error}")
            continue
        p = {ranked.id: ranked.p for ranked in prediction.forms}
        rows.append([p[label] for label in bundle.labels])
        asked.append(example)
    if not rows:
        raise DataFileError(
            f"there is no readable picture with a {by} of {bundle.name}; "
            f"it knows {', '.join(level.table.ids)}"
        )
    labels = np.array([level.number[e.form] for e in asked])
    scored = Scored(np.array(rows) @ level.shares, labels, [e.group for e in asked])
    return Asked(bundle, by, level.table, asked, scored, skipped)
