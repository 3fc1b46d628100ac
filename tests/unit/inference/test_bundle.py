"""Model bundles: a whole one loads; everything that can be wrong with one is named."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import onnx
import pytest
from onnx import TensorProto, helper

from classifier.errors import BundleError
from classifier.inference import bundle as bundle_module
from classifier.inference import manifest as manifest_module
from classifier.inference import session as session_module
from classifier.inference.bundle import (
    check_bundle_categories,
    find_bundle,
    list_bundles,
    load_bundle,
)
from classifier.inference.manifest import file_sha256, write_manifest
from tests.tiny_bundle import EMBEDDING_SIZE, FORMS, manifest_content, write_tiny_bundle

Change = Callable[[dict[str, Any]], object]


def test_whole_bundle_loads(tmp_path: Path) -> None:
    bundle = load_bundle(write_tiny_bundle(tmp_path))
    assert (bundle.name, bundle.version, bundle.created) == ("tiny", "0.1.0", date(2026, 1, 2))
    assert bundle.labels == tuple(FORMS)
    assert bundle.manifest.forms[list(FORMS).index("drink_can")].name == "Drink can"
    assert bundle.form_categories["drink_can"] == {"aluminium_cans": 0.9, "steel_cans": 0.1}
    assert bundle.form_categories["non_item"] == {}
    assert bundle.preprocessing.size == 32
    assert bundle.temperature == 1.0
    assert bundle.thresholds.stop == 0.25
    assert bundle.sources[0].licence == "none"
    assert bundle.embedding_size == EMBEDDING_SIZE
    assert bundle.card().startswith("# tiny")


def test_manifest_is_written_with_format_and_hash(tmp_path: Path) -> None:
    write_tiny_bundle(tmp_path)
    written = json.loads((tmp_path / "bundle.json").read_text())
    assert written["format"] == 1
    assert written["network"]["sha256"] == file_sha256(tmp_path / "network.onnx")


def test_unfit_manifest_is_refused_when_written(tmp_path: Path) -> None:
    write_tiny_bundle(tmp_path)
    with pytest.raises(BundleError, match=r'"temperature" is 0\. Allowed: a number from 0'):
        write_manifest(tmp_path, {**manifest_content(), "temperature": 0})


def put(*path: str | int, value: object) -> Change:
    """Return a change that sets the value at `path`."""

    def change(content: dict[str, Any]) -> None:
        target: Any = content
        for key in path[:-1]:
            target = target[key]
        target[path[-1]] = value

    return change


def drop(*path: str) -> Change:
    """Return a change that removes the key at `path`."""

    def change(content: dict[str, Any]) -> None:
        target: Any = content
        for key in path[:-1]:
            target = target[key]
        del target[path[-1]]

    return change


def nested(depth: int) -> dict[str, Any]:
    """Return tables that stand in one another."""
    made: dict[str, Any] = {}
    for _ in range(depth):
        made = {"a": made}
    return made


WRONG: list[tuple[Change, str]] = [
    (put("format", value=2), r'"format" is 2\. Allowed: 1, the format this version reads'),
    (drop("format"), r'"format" is missing\. Allowed: 1'),
    (put("colour", value="red"), r'unknown key "colour"\. Use one of: card, created'),
    (drop("name"), r'"name" is missing or empty\. Add "name": "\.\.\."'),
    (put("name", value=" "), r'"name" is missing or empty'),
    (put("version", value=1), r'"version" is not a text\. Write "version": "\.\.\." in quotes'),
    (put("created", value="2 Jan"), r'"created" is "2 Jan"\. Allowed: a date as YYYY-MM-DD'),
    (put("network", value=[]), r'"network" is not a table\. Write "network": \{ key: value \}\.$'),
    (
        put("network", "file", value="../x.onnx"),
        r'network: "file" is "\.\./x\.onnx"\. Allowed:',
    ),
    (put("network", "file", value="gone.onnx"), r"gone\.onnx: missing, though bundle\.json names"),
    (put("network", "sha256", value="beef"), r'network: "sha256" is "beef"\. Allowed: 64 hex'),
    (drop("network", "sha256"), r'network: "sha256" is missing or empty'),
    (put("network", "sha256", value="0" * 64), r"network\.onnx: damaged or replaced: its SHA-256"),
    (put("network", "input", value="picture"), r"has no input 'picture'.*allowed: image"),
    (
        put("network", "outputs", "embedding", value="memory"),
        r"has no output 'memory'.*allowed: form_logits, embedding",
    ),
    (put("preprocessing", "mean", value=[0.5]), r'preprocessing: "mean".*three numbers'),
    (
        put("preprocessing", "mean", value="grey"),
        r'preprocessing: "mean" is "grey"\. Allowed: a',
    ),
    (put("preprocessing", "std", value=[0, 1, 1]), r"preprocessing: std \[0\.0, 1\.0, 1\.0\] is"),
    (put("preprocessing", "size", value=2.5), r'preprocessing: "size" is 2\.5\. Allowed: a whole'),
    (put("preprocessing", "size", value=64), r"doesn't run on a float32 batch.*\(2, 3, 64, 64\)"),
    (put("forms", value=[]), r'"forms" is \[\]\. Allowed: a list of one or more tables'),
    (put("forms", 0, value="can"), r'"forms" is not a list of tables\. Write "forms": \[\{'),
    (put("forms", 1, "id", value="drink_can"), r'forms\[1\]: "id" is "drink_can"\. Allowed: an id'),
    (
        put("forms", 0, "categories", value={"aluminium_cans": 0.5}),
        r'forms\[0\]: "categories".*weights that sum to 1 \(these sum to 0\.5\)',
    ),
    (
        put("forms", 0, "categories", "steel_cans", value=True),
        r'forms\[0\]\.categories: "steel_cans" is true\. Allowed: a number from 0 to 1\.$',
    ),
    (put("forms", -1, "categories", value={"food": 1.0}), r"\{\} for non_item, which has no cat"),
    (
        lambda content: content["forms"].pop(),
        r"form_logits has shape \(2, 17\); allowed: \(2, 16\)",
    ),
    (
        put("temperature", value="hot"),
        r'"temperature" is "hot"\. Allowed: a number from 0\.05',
    ),
    (put("thresholds", "route", value=1.5), r'thresholds: "route" is 1\.5\. Allowed: a number'),
    (put("thresholds", "stop", value=float("nan")), r'thresholds: "stop" is NaN\. Allowed: a num'),
    (drop("training", "command"), r'training: "command" is missing'),
    (
        put("training", "sources", 0, "pictures", value=-1),
        r'training\.sources\[0\]: "pictures" is -1\. Allowed: a whole number, 0 or more',
    ),
    (put("name", value="x" * 81), r'"name" is "xxx.*at most 80 characters'),
    (put("version", value="1\0"), r"holds a NUL character"),
    (put("forms", 0, "name", value="can\ud800"), r"holds half of a pair of characters"),
    (put("training", "recipe", value="x" * 5_000), r"has 5,000 characters, more than 4,000"),
    (put("evaluation", value={"a\0": 1}), r"holds a NUL character"),
    (put("evaluation", value=nested(25)), r"stand more than 20 deep in one another"),
    (put("evaluation", value=nested(900)), r"stand more than 20 deep in one another"),
    (put("preprocessing", "views", value=[1.0] * 9), r"at most 8 views"),
    (put("forms", value=[{}] * 501), r"at most 500 forms"),
    (put("card", value="card.md"), r"card\.md: missing, though bundle\.json names it"),
]


@pytest.mark.parametrize(("change", "message"), WRONG, ids=[message[:32] for _, message in WRONG])
def test_mistake_in_the_manifest_is_named(tmp_path: Path, change: Change, message: str) -> None:
    manifest = write_tiny_bundle(tmp_path) / "bundle.json"
    content = json.loads(manifest.read_text())
    change(content)
    manifest.write_text(json.dumps(content))
    with pytest.raises(BundleError, match=message):
        load_bundle(tmp_path)


def test_missing_manifest_is_named(tmp_path: Path) -> None:
    with pytest.raises(BundleError, match=r"bundle\.json: no such file; a model bundle is a direc"):
        load_bundle(tmp_path)


@pytest.mark.parametrize(
    ("text", "said"),
    [("{", "can't be read as JSON"), ("\xff", "can't be read"), ("[]", r"it is \[\]")],
)
def test_manifest_that_is_no_json_is_named(tmp_path: Path, text: str, said: str) -> None:
    (write_tiny_bundle(tmp_path) / "bundle.json").write_bytes(text.encode("latin-1"))
    with pytest.raises(BundleError, match=rf"bundle\.json: .*{said}"):
        load_bundle(tmp_path)


def test_all_mistakes_of_a_manifest_are_named_at_once(tmp_path: Path) -> None:
    manifest = write_tiny_bundle(tmp_path) / "bundle.json"
    content = {**json.loads(manifest.read_text()), "temperature": 90, "version": ""}
    manifest.write_text(json.dumps(content))
    with pytest.raises(BundleError) as error:
        load_bundle(tmp_path)
    assert [line.partition(": ")[2][:13] for line in error.value.message.splitlines()] == [
        '"version" is ',
        '"temperature"',
    ]


def test_damaged_network_is_named(tmp_path: Path) -> None:
    network = write_tiny_bundle(tmp_path) / "network.onnx"
    network.write_bytes(network.read_bytes()[:-9])
    with pytest.raises(BundleError, match=r"damaged or replaced.*restore the file"):
        load_bundle(tmp_path)


def test_network_that_is_no_onnx_is_named(tmp_path: Path) -> None:
    (write_tiny_bundle(tmp_path) / "network.onnx").write_bytes(b"weights")
    write_manifest(tmp_path, manifest_content())
    with pytest.raises(BundleError, match="can't be loaded as an ONNX network"):
        load_bundle(tmp_path)


@pytest.mark.parametrize(("fixed", "tried"), [(1, 2), (2, 1)])
def test_network_of_a_fixed_batch_is_named(tmp_path: Path, fixed: int, tried: int) -> None:
    path = write_tiny_bundle(tmp_path) / "network.onnx"
    model = onnx.load(path)
    model.graph.input[0].type.tensor_type.shape.dim[0].dim_value = fixed
    onnx.save(model, path)
    write_manifest(tmp_path, manifest_content())
    with pytest.raises(BundleError, match=rf"doesn't run on .* shape \({tried}, 3, 32, 32\)"):
        load_bundle(tmp_path)


def test_embedding_of_a_wrong_shape_is_named(tmp_path: Path) -> None:
    path = write_tiny_bundle(tmp_path) / "network.onnx"
    model = onnx.load(path)
    model.graph.node.append(helper.make_node("Flatten", ["embedding"], ["flat"], axis=0))
    model.graph.output.append(helper.make_tensor_value_info("flat", TensorProto.FLOAT, None))
    onnx.save(model, path)
    content = manifest_content()
    content["network"]["outputs"]["embedding"] = "flat"
    write_manifest(tmp_path, content)
    with pytest.raises(BundleError, match=r"output flat has shape \(1, 16\); allowed: \(2, D\)"):
        load_bundle(tmp_path)


def test_unknown_category_of_a_form_is_named(tmp_path: Path) -> None:
    bundle = load_bundle(write_tiny_bundle(tmp_path))
    known = {category for _, categories in FORMS.values() for category in categories}
    check_bundle_categories(bundle, known)
    with pytest.raises(BundleError, match="form drink_can leads to category steel_cans, which"):
        check_bundle_categories(bundle, known - {"steel_cans"})


def test_a_network_that_may_not_be_read_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rights that are missing, or a disk that fails; simulated, since root may read anything."""

    def refused(path: Path) -> str:
        raise PermissionError(13, "Permission denied", str(path))

    write_tiny_bundle(tmp_path)
    monkeypatch.setattr(bundle_module, "file_sha256", refused)
    with pytest.raises(BundleError, match=r"network\.onnx: can't be read \(Permission denied\)"):
        load_bundle(tmp_path)


@pytest.fixture
def shipped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A package of two bundles and a stray folder, in place of the installed one."""
    package = tmp_path / "some_models"
    write_tiny_bundle(package / "older")
    write_tiny_bundle(package / "newer", created="2026-03-04")
    (package / "notes").mkdir()
    (package / "__init__.py").write_text("")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(bundle_module, "SHIPPED_PACKAGE", "some_models")
    monkeypatch.delitem(sys.modules, "some_models", raising=False)
    return package


def test_shipped_bundles_are_found_by_name(shipped: Path) -> None:
    assert list_bundles() == {"newer": shipped / "newer", "older": shipped / "older"}
    assert find_bundle("older") == shipped / "older"


def test_the_household_bundle_is_the_default_and_else_the_newest(shipped: Path) -> None:
    assert find_bundle() == find_bundle("") == shipped / "newer"
    write_tiny_bundle(shipped / "household")
    assert find_bundle() == shipped / "household"


def test_bundle_is_found_by_its_directory(tmp_path: Path) -> None:
    assert find_bundle(tmp_path) == tmp_path


@pytest.mark.usefixtures("shipped")
def test_unknown_bundle_is_named_with_those_there_are() -> None:
    with pytest.raises(BundleError, match=r"bundle 'nevr' is neither.*shipped: newer, older; name"):
        find_bundle("nevr")


def test_no_bundle_at_all_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bundle_module, "SHIPPED_PACKAGE", "no_such_models")
    assert list_bundles() == {}
    with pytest.raises(BundleError, match=r"no model bundle is installed; .* --bundle"):
        find_bundle()
    with pytest.raises(BundleError, match="shipped: none is installed"):
        find_bundle("tiny")


def test_a_system_that_keeps_no_freed_memory_opens_bundles_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session_module, "sys", SimpleNamespace(platform="win32"))
    assert load_bundle(write_tiny_bundle(tmp_path)).embedding_size == EMBEDDING_SIZE


@pytest.mark.parametrize(
    ("file", "most"),
    [("bundle.json", "MOST_MANIFEST_BYTES"), ("network.onnx", "MOST_NETWORK_BYTES")],
)
def test_files_that_are_far_too_large_are_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, file: str, most: str
) -> None:
    write_tiny_bundle(tmp_path)
    for module in (manifest_module, bundle_module):
        monkeypatch.setattr(module, most, 100, raising=False)
    with pytest.raises(BundleError, match=rf"{file}: has .* bytes; allowed: at most 100"):
        load_bundle(tmp_path)


@pytest.mark.parametrize("card", [b"\xff\xfe", b"# a\0", b"x" * 1_000_001])
def test_a_card_that_can_not_be_shown_is_refused(tmp_path: Path, card: bytes) -> None:
    write_tiny_bundle(tmp_path)
    (tmp_path / "CARD.md").write_bytes(card)
    with pytest.raises(BundleError, match=r"CARD\.md: (can't be shown|has 1,000,001 bytes)"):
        load_bundle(tmp_path)


def test_deep_json_is_refused_in_words(tmp_path: Path) -> None:
    write_tiny_bundle(tmp_path)
    (tmp_path / "bundle.json").write_text("[" * 100_000, encoding="utf-8")
    with pytest.raises(BundleError, match="can't be read as JSON"):
        load_bundle(tmp_path)
