"""Score a finished bundle on labelled pictures, exactly as it would be used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from tqdm import tqdm

from classifier.domain.categories import Categories, load_categories
from classifier.domain.errors import DataFileError, TallytareError
from classifier.domain.programme import Programme, load_shipped_programmes
from classifier.inference.bundle import Bundle, find_bundle, load_bundle
from classifier.inference.photo import decode_photo
from classifier.inference.predict import Predictor
from training.card import class_table, score_table
from training.evaluate import Scored, by_form, by_material, non_item_auroc, route_matrix, score_by
from training.forms import Form, FormTable, load_forms
from training.manifest import Example, read_examples


@dataclass(frozen=True, slots=True)
class Asked:
    """A bundle's answers, the pictures asked row by row, and a sentence for what was left out."""

    bundle: Bundle
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
) -> tuple[Asked, dict[str, Any]]:
    """Score a bundle by source and form; returns its answers and the figures.

    Raises
    ------
    BundleError
        No such bundle, or a damaged one.
    DataFileError
        No picture with a form that the bundle knows, or an unknown programme.
    """
    bundle = load_bundle(find_bundle(bundle_name))
    categories = load_categories()
    programme = find_programme(programme_id, categories)
    asked = ask(read_examples(data, sources=sources, split=split), bundle)
    routes, _ = route_matrix(asked.table, categories, programme)
    result: dict[str, Any] = {
        "bundle": bundle.name,
        "version": bundle.version,
        "programme": programme_id,
        "by_source": score_by(asked.sources, asked.scored, asked.table, routes),
        "by_material": by_material(asked.scored, asked.table),
        "by_form": by_form(asked.scored, asked.table),
        "non_item_auroc": non_item_auroc(asked.scored, asked.table),
        "skipped": asked.skipped,
    }
    return asked, result


def judged_text(result: dict[str, Any]) -> str:
    """Tables of the figures that `judge` returns."""
    parts = [score_table(result["by_source"]), class_table("form", result["by_form"])]
    if result["non_item_auroc"] is not None:
        parts.append(f"pictures without an item told from items: AUROC {result['non_item_auroc']}")
    if result["skipped"]:
        parts.append("\n".join(f"skipped {line}" for line in result["skipped"]))
    return "\n\n".join(parts) + "\n"


def table_of(bundle: Bundle) -> FormTable:
    """Forms of a bundle as it maps them, with the coarser labels of the training table."""
    known = {form.id: form for form in load_forms().forms}
    forms = []
    for form in bundle.manifest.forms:
        like = known.get(form.id)
        material, stream = (like.material, like.stream) if like else (form.id, form.id)
        forms.append(Form(form.id, form.name, material, stream, dict(form.categories)))
    return FormTable(tuple(forms))


def ask(examples: Sequence[Example], bundle: Bundle) -> Asked:
    """Put the pictures with a form that the bundle knows to it.

    Raises
    ------
    DataFileError
        There is no such picture, or none that can be read.
    """
    table = table_of(bundle)
    predictor = Predictor(bundle)
    strange = Counter(e.form for e in examples if e.form not in bundle.labels)
    undecided = strange.pop("", 0)
    skipped = [f"{n} pictures: the bundle has no form {form!r}" for form, n in strange.items()]
    skipped += [f"{undecided} pictures without a form"] if undecided else []
    rows, asked = [], []
    kept = [e for e in examples if e.form in bundle.labels]
    for example in tqdm(kept, desc="evaluating", delay=2):
        try:
            prediction = predictor.predict(decode_photo(example.path.read_bytes()))
        except (TallytareError, OSError) as error:
            skipped.append(f"{example.path}: {error}")
            continue
        p = {ranked.id: ranked.p for ranked in prediction.forms}
        rows.append([p[label] for label in table.ids])
        asked.append(example)
    if not rows:
        raise DataFileError(
            f"there is no readable picture with a form of {bundle.name}; "
            f"its forms are {', '.join(table.ids)}"
        )
    labels = np.array([table.ids.index(e.form) for e in asked])
    scored = Scored(np.array(rows), labels, [e.group for e in asked])
    return Asked(bundle, table, asked, scored, skipped)
