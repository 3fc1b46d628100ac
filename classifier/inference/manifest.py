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
from classifier.inference.bounds import (
    LONGEST_NAME,
    MOST_FORMS,
    MOST_MANIFEST_BYTES,
    MOST_VIEWS,
    check_size,
    fault_of,
    fault_of_text,
)
from classifier.inference.preprocess import Preprocessing
from classifier.rules.data_file import JsonFile
from classifier.rules.data_table import Table
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
        check_size(path, MOST_MANIFEST_BYTES)
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise BundleError(
            f"{path}: no such file; a model bundle is a directory with {MANIFEST_NAME}, its ONNX "
            "network and its card; check the path, or install the package again",
            path=str(path),
        ) from error
    except (OSError, ValueError) as error:  # ValueError: not UTF-8
        raise BundleError(
            f"{path}: can't be read ({error}); restore the file, or train the bundle again",
            path=str(path),
        ) from error
    file = JsonFile(text, str(path), BundleError)
    if fault := fault_of(file.root.content):
        file.problems.refuse(None, fault, "Correct it, or export the bundle again")
    manifest = _manifest(file.root)
    file.problems.raise_any()
    return manifest


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
    if top.get("format") != FORMAT:
        top.refuse("format", f"{FORMAT}, the format this version reads")
        top.file.problems.raise_any()
    top.only(_KEYS)
    network, preprocessing, thresholds, training = (
        top.table(name) for name in ("network", "preprocessing", "thresholds", "training")
    )
    top.file.problems.raise_any()  # what stands in no table would be missed key by key
    return Manifest(
        name=_name(top, "name"),
        version=_name(top, "version"),
        created=_created(top),
        network=_network(network),
        forms=_forms(top),
        temperature=top.number("temperature", 0.05, 20.0),
        thresholds=_thresholds(thresholds),
        command=training.text("command"),
        recipe=training.text("recipe"),
        sources=tuple(
            Source(each.text("name"), each.text("licence"), each.whole("pictures"))
            for each in training.tables("sources", needed=True)
        ),
        evaluation=top.table("evaluation").content,
        card=top.file_name("card"),
        preprocessing=_preprocessing(preprocessing),
    )


def _name(table: Table, key: str) -> str:
    found = table.text(key)
    if fault_of_text(found, LONGEST_NAME):
        table.refuse(key, f"a text of at most {LONGEST_NAME} characters")
    return found


def _created(top: Table) -> date:
    try:
        return date.fromisoformat(top.text("created"))
    except ValueError:
        top.refuse("created", "a date as YYYY-MM-DD")
        return date.min


def _network(table: Table) -> NetworkFile:
    sha256 = table.text("sha256").lower()
    if (sha256 and len(sha256) != 64) or not set(sha256) <= set("0123456789abcdef"):
        table.refuse("sha256", "64 hexadecimal digits")
    outputs = table.table("outputs")
    return NetworkFile(
        file=table.file_name("file"),
        sha256=sha256,
        input=table.text("input"),
        form_logits=outputs.text("form_logits"),
        embedding=outputs.text("embedding"),
    )


def _preprocessing(table: Table) -> Preprocessing:
    mean, std = (_of_colours(table, name) for name in ("mean", "std"))
    size, views = table.whole("size"), table.numbers("views")
    interpolation = table.text("interpolation")
    if len(views) > MOST_VIEWS:
        table.refuse("views", f"at most {MOST_VIEWS} views, each a run of the network")
    table.file.problems.raise_any()  # stand-ins of what is wrong would only be refused once more
    try:
        return Preprocessing(size, mean, std, views, interpolation)
    except ValueError as error:
        raise BundleError(
            f"{table.file.name}: preprocessing: {error}; correct it, or export the bundle again",
            path=table.file.name,
        ) from error


def _of_colours(table: Table, name: str) -> tuple[float, float, float]:
    found = table.numbers(name)
    if len(found) != 3:
        if found:
            table.refuse(name, "three numbers, of red, green and blue")
        return (1.0, 1.0, 1.0)
    return (found[0], found[1], found[2])


def _forms(top: Table) -> tuple[Form, ...]:
    forms: dict[str, Form] = {}
    tables = top.tables("forms", needed=True)
    if len(tables) > MOST_FORMS:
        top.refuse("forms", f"at most {MOST_FORMS} forms")
        return ()
    for table in tables:
        form = _form(table)
        if form.id in forms:
            table.refuse("id", "an id that no other form of the bundle has")
        forms[form.id] = form
    return tuple(forms.values())


def _form(table: Table) -> Form:
    form_id = _name(table, "id")
    weights, known = table.table("categories"), len(table.file.problems.found)
    shares = {category: weights.number(category, 0.0, 1.0) for category in weights.names()}
    total, wrong = math.fsum(shares.values()), len(table.file.problems.found) > known
    if form_id == NON_ITEM:
        if shares:
            table.refuse("categories", f"{{}} for {NON_ITEM}, which has no category")
    elif not wrong and abs(total - 1.0) > _WEIGHT_TOLERANCE:
        table.refuse("categories", f"weights that sum to 1 (these sum to {total:g})")
    return Form(form_id, table.text("name"), shares)


def _thresholds(table: Table) -> Thresholds:
    return Thresholds(
        route=table.number("route", 0.0, 1.0),
        stop=table.number("stop", 0.0, 1.0),
        unsure=table.number("unsure", 0.0, 1.0),
        non_item=table.number("non_item", 0.0, 1.0),
    )
