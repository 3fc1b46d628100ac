"""`tallytare bundles`: list, promote, go back."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Run
from tests.tiny_bundle import write_tiny_bundle


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
