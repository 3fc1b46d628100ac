"""What a network sees in every picture of one source, computed once and kept for replays."""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from classifier.errors import DataFileError
from classifier.inference.bundle import find_bundle, load_bundle
from classifier.inference.photo import decode_photo
from classifier.inference.predict import Predictor
from classifier.inference.preprocess import Preprocessing, view_probabilities
from classifier.rules.categories import load_categories
from classifier.rules.suggestion_parts import NON_ITEM
from training.network import SortNet, blend_backbone
from training.outputs import embed_views
from training.pictures.dataset import pretrained_embeddings
from training.pictures.forms import FormTable, load_forms, table_of_labels
from training.pictures.groups import merge_groups
from training.pictures.images import load_canvases, load_views
from training.pictures.manifest import Example, read_examples
from training.recipe import Recipe, make_recipe

_BATCH = 32  # pictures given to a bundle at once


@dataclass(frozen=True, slots=True, eq=False)
class Pictures:
    """n pictures of one source through one network."""

    form_ids: list[str]  # F forms that the network answers
    embeddings: NDArray[np.float32]  # (n, D)
    probabilities: NDArray[np.float64]  # (n, F)
    forms: list[str]  # label of each picture
    materials: list[str]  # label of the pictures' origin
    objects: NDArray[np.int64]  # (n,) pictures of one object share a number


def load_pictures(
    network: str, data: Path, source: str, cache: Path | None, *, workers: int
) -> Pictures:
    """Run a network over the labelled pictures of a source, or read what an earlier call kept.

    Parameters
    ----------
    network:
        Name or directory of a bundle, or a network (.pt) that a run or a trial left behind.
    cache:
        The file (.npz) to keep the answers in; it must be of the same network and source.

    Raises
    ------
    DataFileError
        A network that can't be read, an unknown source, or a cache of something else.
    """
    origin = f"{Path(network).resolve().name} {source}"
    if cache is not None and cache.is_file():
        return _read(cache, origin)
    examples = [e for e in read_examples(data, sources=[source]) if e.form not in {"", NON_ITEM}]
    paths = [e.path for e in examples]
    form_ids, embeddings, probabilities = (
        _answers_of_checkpoint(Path(network), paths, workers)
        if network.endswith(".pt")
        else _answers_of_bundle(network, paths)
    )
    pictures = Pictures(
        form_ids,
        embeddings,
        probabilities,
        [e.form for e in examples],
        [e.material for e in examples],
        _objects(examples, data, workers),
    )
    if cache is not None:
        _keep(cache, origin, pictures)
    return pictures


def _answers_of_bundle(
    name: str, paths: list[Path]
) -> tuple[list[str], NDArray[np.float32], NDArray[np.float64]]:
    bundle = load_bundle(find_bundle(name))
    predictor, embeddings, rows = Predictor(bundle), [], []
    for start in range(0, len(paths), _BATCH):
        photos = [decode_photo(path.read_bytes()) for path in paths[start : start + _BATCH]]
        for prediction in predictor.predict_many(photos):
            p = {form.id: form.p for form in prediction.forms}
            rows.append([p[form] for form in bundle.labels])
            embeddings.append(prediction.embedding)
    return list(bundle.labels), np.stack(embeddings), np.array(rows)


def _answers_of_checkpoint(
    path: Path, paths: list[Path], workers: int
) -> tuple[list[str], NDArray[np.float32], NDArray[np.float64]]:
    net, recipe, form_ids = _load_checkpoint(path)
    net = net.eval().to(memory_format=torch.channels_last)
    views = load_views(paths, Preprocessing(recipe.size, views=recipe.views), workers=workers)
    seen = embed_views(net, views, device=torch.device("cpu"))  # (n, v, D)
    with torch.inference_mode():
        logits = net.forms(seen).numpy()
    return form_ids, seen.mean(dim=1).numpy(), view_probabilities(logits, 1.0)


def _load_checkpoint(path: Path) -> tuple[SortNet, Recipe, list[str]]:
    """Read the network of a run, with its recipe, or of a trial, which is a bare state."""
    table = load_forms()
    recipe, form_ids = Recipe(views=(0.0, 0.7)), table.ids
    try:
        kept = torch.load(path, map_location="cpu", weights_only=True)
        if "origin" in kept:
            recipe = make_recipe(tomllib.loads(kept["origin"]["recipe"]))
            form_ids, kept = kept["origin"]["forms"], kept["state"]
        state = {name: value.float() for name, value in kept.items()}
        net = SortNet(
            recipe.backbone, len(form_ids), len(state["materials.bias"]), pretrained=False
        )
        net.load_state_dict(state)
    except Exception as error:  # torch, pickle and zip raise half a dozen kinds
        reason = str(error).partition("\n")[0]
        raise DataFileError(
            f"{path} is no network of this project ({reason}); give a bundle, or a .pt file of a "
            "run's folder or of `python -m training.trials run`",
            file=str(path),
        ) from error
    return blend_backbone(net, recipe.backbone, recipe.blend), recipe, form_ids


def _objects(examples: list[Example], data: Path, workers: int) -> NDArray[np.int64]:
    """Number the objects: pictures said to show the same one, and near-repeats, go together."""
    repeats = _said_repeats(data)
    groups: list[str] = []
    for example in examples:
        same = bool(groups) and example.path.resolve() in repeats
        groups.append(groups[-1] if same else str(example.path))
    canvases, kept, refused = load_canvases([e.path for e in examples], workers=workers)
    if len(kept) != len(examples):
        raise DataFileError("pictures that can't be read: " + "; ".join(refused[:3]))
    layout = torch.channels_last
    features = pretrained_embeddings(canvases, torch.device("cpu"), batch=8, layout=layout)
    merged = merge_groups(groups, ["one"] * len(groups), features).groups
    return np.unique(merged, return_inverse=True)[1].astype(np.int64)


def _said_repeats(data: Path) -> set[Path]:
    """Paths of the pictures which a manifest says to show the object of the row before."""
    table = data / "manifest.csv" if data.is_dir() else data
    if not table.is_file():
        return set()
    with table.open(newline="", encoding="utf-8-sig") as stream:
        rows = list(csv.DictReader(stream))
    return {
        (table.parent / row["path"]).resolve() for row in rows if row.get("same_as_previous") == "1"
    }


def _keep(path: Path, origin: str, pictures: Pictures) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez(
        path,
        origin=np.array(origin),
        form_ids=np.array(pictures.form_ids),
        embeddings=pictures.embeddings.astype(np.float16),  # rounding far below a view's noise
        probabilities=pictures.probabilities,
        forms=np.array(pictures.forms),
        materials=np.array(pictures.materials),
        objects=pictures.objects,
    )


def _read(path: Path, origin: str) -> Pictures:
    with np.load(path, allow_pickle=False) as kept:
        if str(kept["origin"]) != origin:
            raise DataFileError(
                f"{path} holds answers of {kept['origin']}, not of {origin}; give another --cache",
                file=str(path),
            )
        return Pictures(
            kept["form_ids"].tolist(),
            kept["embeddings"].astype(np.float32),
            kept["probabilities"],
            kept["forms"].tolist(),
            kept["materials"].tolist(),
            kept["objects"],
        )


def table_of(pictures: Pictures) -> FormTable:
    """Return the table of the forms that the network answers and of those that occur.

    Raises
    ------
    DataFileError
        One that is neither a form of the shipped table nor a category.
    """
    return table_of_labels({*pictures.form_ids, *pictures.forms}, load_categories())
