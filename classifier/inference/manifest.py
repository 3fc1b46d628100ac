"""bundle.json: what a model bundle says of itself, read strictly."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from classifier.errors import BundleError
from classifier.inference.json_table import Table
from classifier.inference.preprocess import Preprocessing
from classifier.rules.suggestion_parts import NON_ITEM, Thresholds

MANIFEST_NAME = "bundle.json"
FORMAT = 1
_WEIGHT_TOLERANCE = 1e-6
_KEYS = frozenset(
    "format name version created network preprocessing forms temperature thresholds training "
    "evaluation card".split()
)


@dataclass(frozen=True, slots=True)
class NetworkFile:
    """The ONNX file beside the manifest, its SHA-256 and the names of its input and outputs."""

    file: str
    sha256: str
    input: str
    form_logits: str
    embedding: str


@dataclass(frozen=True, slots=True)
class Form:
    """A visual class of the model and the share of each category among its items.

    The shares sum to 1; they are empty for `non_item` only.
    """

    id: str
    name: str
    categories: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Source:
    """A set of training pictures, with its licence."""

    name: str
    licence: str
    pictures: int


@dataclass(frozen=True, slots=True)
class Manifest:
    """The checked content of bundle.json."""

    name: str
    version: str
    created: date
    network: NetworkFile
    preprocessing: Preprocessing
    forms: tuple[Form, ...]
    temperature: float
    thresholds: Thresholds
    command: str
    recipe: str
    sources: tuple[Source, ...]
    evaluation: Mapping[str, Any]
    card: str


def read_manifest(directory: Path) -> Manifest:
    """Read and check `directory`/bundle.json; raises `BundleError`."""
    path = directory / MANIFEST_NAME
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise BundleError(
            f"{path}: no such file; a model bundle is a directory with {MANIFEST_NAME}, its ONNX "
            "network and its card; check the path, or install the package again",
            path=str(path),
        ) from error
    except (OSError, ValueError) as error:  # ValueError: not UTF-8, or not JSON
        raise BundleError(
            f"{path}: can't be read as JSON ({error}); restore the file, or train the bundle again",
            path=str(path),
        ) from error
    return _manifest(Table(path, "", content))


def write_manifest(directory: Path, content: Mapping[str, Any]) -> Path:
    """Write bundle.json for the network that already lies in `directory`, and check it.

    `content` has the keys of the format except `format` and `network.sha256`, which are filled in.
    Raises `BundleError` when `read_manifest` would.
    """
    network = dict(content["network"])
    network["sha256"] = file_sha256(directory / network["file"])
    path = directory / MANIFEST_NAME
    filled = {"format": FORMAT, **content, "network": network}
    text = json.dumps(filled, indent=1, ensure_ascii=False, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")
    read_manifest(directory)
    return path


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _manifest(top: Table) -> Manifest:
    if top.get("format", str(FORMAT)) != FORMAT:
        top.fail("format", top.content["format"], f"{FORMAT}, the format this version reads")
    for key in top.content:
        if key not in _KEYS:
            top.fail(key, top.content[key], f"no such key, only {', '.join(sorted(_KEYS))}")
    training = top.table("training")
    return Manifest(
        name=top.text("name"),
        version=top.text("version"),
        created=_created(top),
        network=_network(top.table("network")),
        preprocessing=_preprocessing(top.table("preprocessing")),
        forms=_forms(top),
        temperature=top.number("temperature", 0.05, 20.0),
        thresholds=_thresholds(top.table("thresholds")),
        command=training.text("command"),
        recipe=training.text("recipe"),
        sources=tuple(
            Source(each.text("name"), each.text("licence"), each.whole("pictures"))
            for each in training.tables("sources")
        ),
        evaluation=top.table("evaluation").content,
        card=top.file_name("card"),
    )


def _created(top: Table) -> date:
    text = top.text("created")
    try:
        return date.fromisoformat(text)
    except ValueError:
        top.fail("created", text, "a date as YYYY-MM-DD")


def _network(table: Table) -> NetworkFile:
    sha256 = table.text("sha256").lower()
    if len(sha256) != 64 or not set(sha256) <= set("0123456789abcdef"):
        table.fail("sha256", sha256, "64 hexadecimal digits")
    outputs = table.table("outputs")
    return NetworkFile(
        file=table.file_name("file"),
        sha256=sha256,
        input=table.text("input"),
        form_logits=outputs.text("form_logits"),
        embedding=outputs.text("embedding"),
    )


def _preprocessing(table: Table) -> Preprocessing:
    mean, std = table.numbers("mean"), table.numbers("std")
    if len(mean) != 3 or len(std) != 3:
        table.fail("mean, std", [len(mean), len(std)], "three numbers each")
    try:
        return Preprocessing(
            size=table.whole("size"),
            mean=(mean[0], mean[1], mean[2]),
            std=(std[0], std[1], std[2]),
            views=table.numbers("views"),
            interpolation=table.text("interpolation"),
        )
    except ValueError as error:
        raise BundleError(
            f"{table.path}: {table.key}: {error}; mend it, or export the bundle again",
            path=str(table.path),
            key=table.key,
        ) from error


def _forms(top: Table) -> tuple[Form, ...]:
    tables = top.tables("forms")
    forms = tuple(_form(table) for table in tables)
    seen: set[str] = set()
    for table, form in zip(tables, forms, strict=True):
        if form.id in seen:
            table.fail("id", form.id, "an id that no other form of the bundle has")
        seen.add(form.id)
    return forms


def _form(table: Table) -> Form:
    form_id = table.text("id")
    weights = table.table("categories")
    shares = {category: weights.number(category, 0.0, 1.0) for category in weights.content}
    total = math.fsum(shares.values())
    if form_id == NON_ITEM:
        if shares:
            table.fail("categories", shares, f"{{}} for {NON_ITEM}, which has no category")
    elif abs(total - 1.0) > _WEIGHT_TOLERANCE:
        table.fail("categories", shares, f"weights that sum to 1 (these sum to {total:g})")
    return Form(form_id, table.text("name"), shares)


def _thresholds(table: Table) -> Thresholds:
    return Thresholds(
        route=table.number("route", 0.0, 1.0),
        stop=table.number("stop", 0.0, 1.0),
        unsure=table.number("unsure", 0.0, 1.0),
        non_item=table.number("non_item", 0.0, 1.0),
    )
