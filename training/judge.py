"""Score a finished bundle on labelled pictures, exactly as it would be used."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from tqdm import tqdm

from classifier.domain.categories import load_categories
from classifier.domain.errors import DataFileError, TallytareError
from classifier.domain.programme import load_shipped_programmes
from classifier.inference.bundle import Bundle, find_bundle
from classifier.inference.photo import decode_photo
from classifier.inference.predict import Predictor
from training.card import score_table
from training.evaluate import Scored, by_form, route_matrix, score
from training.forms import Form, FormTable, load_forms
from training.manifest import read_examples


def judge(data: Path, bundle_name: str, programme_id: str, *, as_json: bool) -> str:
    """Score a bundle by source and form; returns a table or one JSON object.

    Raises
    ------
    DataFileError
        No picture with a form that the bundle knows, or an unknown programme.
    """
    bundle = find_bundle(bundle_name)
    table = table_of(bundle)
    categories = load_categories()
    programmes = {p.id: p for p in load_shipped_programmes(categories)}
    if programme_id not in programmes:
        raise DataFileError(f"no programme {programme_id!r}; shipped are {', '.join(programmes)}")
    routes, _ = route_matrix(table, categories, programmes[programme_id])
    scored, sources, skipped = _predict(data, bundle, table)
    result: dict[str, Any] = {
        "bundle": bundle.name,
        "version": bundle.version,
        "programme": programme_id,
        "skipped": skipped,
        "by_source": {},
        "by_form": by_form(scored, table),
    }
    for source in sorted(set(sources)):
        rows = np.array([s == source for s in sources])
        part = Scored(
            scored.probabilities[rows],
            scored.labels[rows],
            [group for group, keep in zip(scored.groups, rows, strict=True) if keep],
        )
        result["by_source"][source] = score(part, table, routes)
    if as_json:
        return json.dumps(result) + "\n"
    return score_table(result["by_source"]) + "\n" + "".join(f"skipped {s}\n" for s in skipped)


def table_of(bundle: Bundle) -> FormTable:
    """Forms of a bundle with the coarser labels of the training table."""
    known = {form.id: form for form in load_forms().forms}
    return FormTable(
        tuple(
            known.get(label) or Form(label, label, "other", "rest", {}) for label in bundle.labels
        )
    )


def _predict(data: Path, bundle: Bundle, table: FormTable) -> tuple[Scored, list[str], list[str]]:
    predictor = Predictor(bundle)
    rows, labels, groups, sources, skipped = [], [], [], [], []
    examples = [e for e in read_examples(data) if e.form]
    for example in tqdm(examples, desc="evaluating", delay=2):
        if example.form not in bundle.labels:
            skipped.append(f"{example.path}: the bundle has no form {example.form!r}")
            continue
        try:
            prediction = predictor.predict(decode_photo(example.path.read_bytes()))
        except (TallytareError, OSError) as error:
            skipped.append(f"{example.path}: {error}")
            continue
        p = {ranked.id: ranked.p for ranked in prediction.forms}
        rows.append([p[label] for label in table.ids])
        labels.append(table.ids.index(example.form))
        groups.append(example.group)
        sources.append(example.source)
    if not rows:
        raise DataFileError(f"{data} holds no readable picture with a form of {bundle.name}")
    return Scored(np.array(rows), np.array(labels), groups), sources, skipped
