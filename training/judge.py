"""Score a finished bundle on labelled pictures, exactly as it would be used."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from tqdm import tqdm

from classifier.domain.categories import load_categories
from classifier.domain.errors import DataFileError, TallytareError
from classifier.domain.programme import load_shipped_programmes
from classifier.inference.bundle import Bundle, find_bundle, load_bundle
from classifier.inference.photo import decode_photo
from classifier.inference.predict import Predictor
from training.card import form_table, score_table
from training.evaluate import Scored, by_form, non_item_auroc, route_matrix, score_by
from training.forms import Form, FormTable, load_forms
from training.manifest import Example, read_examples


def judge(
    data: Path,
    bundle_name: str | None,
    programme_id: str,
    *,
    sources: Sequence[str] = (),
    as_json: bool,
) -> str:
    """Score a bundle by source and form; returns a table or one JSON object.

    Raises
    ------
    BundleError
        No such bundle, or a damaged one.
    DataFileError
        No picture with a form that the bundle knows, or an unknown programme.
    """
    bundle = load_bundle(find_bundle(bundle_name))
    table = table_of(bundle)
    categories = load_categories()
    programmes = {p.id: p for p in load_shipped_programmes(categories)}
    if programme_id not in programmes:
        raise DataFileError(f"no programme {programme_id!r}; shipped are {', '.join(programmes)}")
    routes, _ = route_matrix(table, categories, programmes[programme_id])
    asked = _ask(read_examples(data, sources=sources), bundle, table)
    result: dict[str, Any] = {
        "bundle": bundle.name,
        "version": bundle.version,
        "programme": programme_id,
        "by_source": score_by(asked.sources, asked.scored, table, routes),
        "by_form": by_form(asked.scored, table),
        "non_item_auroc": non_item_auroc(asked.scored, table),
        "skipped": asked.skipped,
    }
    if as_json:
        return json.dumps(result) + "\n"
    parts = [score_table(result["by_source"]), form_table(result["by_form"])]
    if result["non_item_auroc"] is not None:
        parts.append(f"pictures without an item told from items: AUROC {result['non_item_auroc']}")
    if asked.skipped:
        parts.append("\n".join(f"skipped {line}" for line in asked.skipped))
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


@dataclass(frozen=True, slots=True)
class _Asked:
    """Answers of a bundle, the source of each picture, and a sentence for what was left out."""

    scored: Scored
    sources: list[str]
    skipped: list[str]


def _ask(examples: Sequence[Example], bundle: Bundle, table: FormTable) -> _Asked:
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
    return _Asked(scored, [e.source for e in asked], skipped)
