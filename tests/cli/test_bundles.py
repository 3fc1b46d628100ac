"""`tallytare bundles`: list, promote, go back."""

from __future__ import annotations

from pathlib import Path

import onnx

from classifier.inference.bundle import load_bundle
from classifier.inference.manifest import write_manifest
from tests.cli.conftest import Run
from tests.tiny_bundle import manifest_content, write_tiny_bundle


def test_promote_and_go_back(run: Run, tmp_path: Path, data_dir: Path) -> None:
    newer = write_tiny_bundle(tmp_path / "newer", version="9")
    assert "Answers: tiny 0.1.0" in run("bundles", "list").out
    promoted = run("bundles", "promote", newer, "--sorter", "Ada")
    assert promoted.code == 0
    assert promoted.out.startswith("tiny 9 answers from the next photo on (tiny-9-")
    (copy,) = (data_dir / "bundles").iterdir()
    listed = run("bundles", "list").out
    assert f"* {copy.name}  (tiny 9, promoted here)" in listed
    assert "household" in listed
    assert "by Ada" in listed
    assert run("bundles", "rollback").out == "tiny 0.1.0 answers from the next photo on.\n"
    nothing_left = run("bundles", "rollback")
    assert nothing_left.code == 1
    assert "no earlier model" in nothing_left.err
    assert run("bundles", "promote", copy.name).out.startswith("tiny 9 answers")


def test_a_damaged_bundle_is_refused(run: Run, tmp_path: Path) -> None:
    hurt = write_tiny_bundle(tmp_path / "hurt", version="9")
    (hurt / "network.onnx").write_bytes(b"damaged")
    ran = run("bundles", "promote", hurt)
    assert ran.code == 1
    assert "damaged or replaced" in ran.err
    assert "Answers: tiny 0.1.0" in run("bundles", "list").out
    assert "neither a shipped bundle nor" in run("bundles", "promote", "nowhere").err


def test_a_bundle_that_needs_another_file_is_refused(
    run: Run, tmp_path: Path, data_dir: Path
) -> None:
    """Its copy, which would answer, is loaded and run before it is recorded; nothing is left."""
    source = write_tiny_bundle(tmp_path / "theirs")
    network = source / "network.onnx"
    onnx.save_model(
        onnx.load(network),
        network,
        save_as_external_data=True,
        location="weights.bin",
        size_threshold=0,
    )
    write_manifest(source, manifest_content())
    load_bundle(source)
    refused = run("bundles", "promote", source)
    assert (refused.code, "can't be loaded" in refused.said) == (1, True)
    assert list((data_dir / "bundles").iterdir()) == []
    assert "theirs" not in run("bundles", "list").out
