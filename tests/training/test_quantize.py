"""Eight bits beside single precision: what is compared, and when it is called worse."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import onnx
import pytest
from onnx import TensorProto, helper, numpy_helper

from classifier.inference.bundle import Bundle, load_bundle
from classifier.inference.manifest import write_manifest
from tests.tiny_bundle import FORMS, SIZE, manifest_content, photo_of, write_tiny_bundle
from training.pictures.manifest import Example
from training.trials.quantize import TOLERANCE, Verdict, _bundle_beside, compare, text


def _convolutional(directory: Path) -> Bundle:
    """Return the bundle of colours with a convolution in front, which changes nothing."""
    write_tiny_bundle(directory)
    path = directory / "network.onnx"
    network = onnx.load(path)
    same = np.zeros((3, 3, 1, 1), dtype=np.float32)
    same[range(3), range(3)] = 1.0
    network.graph.initializer.append(numpy_helper.from_array(same, "same"))
    first = network.graph.input[0].name
    for node in network.graph.node:
        node.input[:] = ["convolved" if name == first else name for name in node.input]
    network.graph.node.insert(0, helper.make_node("Conv", [first, "same"], ["convolved"]))
    onnx.save(network, path)
    write_manifest(directory, manifest_content())
    return load_bundle(directory)


@pytest.fixture(scope="module")
def examples(tmp_path_factory: pytest.TempPathFactory) -> list[Example]:
    """Return two photos of each form, each an object of its own."""
    folder = tmp_path_factory.mktemp("photos")
    made = []
    for form in [form for form in FORMS if form != "non_item"]:
        for seed in range(2):
            path = folder / f"{form}_{seed}.jpg"
            path.write_bytes(photo_of(form, seed=seed))
            made.append(
                Example(path=path, source="desk", group=path.stem, form=form, material="", split="")
            )
    return made


@pytest.mark.slow
def test_eight_bits_of_a_bundle_are_a_bundle(tmp_path: Path, examples: list[Example]) -> None:
    single = _convolutional(tmp_path / "single")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # onnxruntime's quantiser is not free of them
        eight = _bundle_beside(single, [each.path for each in examples[:8]], tmp_path / "eight")
    assert eight.name == "tiny_int8"
    kinds = {node.op_type for node in onnx.load(tmp_path / "eight/network.onnx").graph.node}
    assert "QuantizeLinear" in kinds
    stored = onnx.load(tmp_path / "eight/network.onnx").graph.initializer
    assert TensorProto.INT8 in {tensor.data_type for tensor in stored}
    verdict = compare(examples, single, eight)
    assert verdict.paired["form"]["pictures"] == len(examples)
    assert abs(verdict.paired["form"]["difference"]) < 0.2
    assert "times as fast" in text(verdict)


def test_a_bundle_against_itself_loses_nothing(tmp_path: Path, examples: list[Example]) -> None:
    bundle = load_bundle(write_tiny_bundle(tmp_path / "tiny"))
    verdict = compare(examples, bundle, bundle)
    assert verdict.worse == []
    assert {line["loss"] for line in verdict.figures} == {0.0}
    assert "holds within half a point" in text(verdict)
    assert bundle.preprocessing.size == SIZE


def test_more_than_half_a_point_is_worse_whichever_figure() -> None:
    def line(figure: str, loss: float) -> dict[str, object]:
        return {
            "source": "desk",
            "figure": figure,
            "single": 0.9,
            "eight": 0.9 - loss,
            "loss": loss,
        }

    lines = [line("form_top1", TOLERANCE), line("route", -0.2), line("ece", 0.006)]
    verdict = Verdict(figures=lines, paired={}, seconds=(0.01, 0.005))
    assert len(verdict.worse) == 1
    assert verdict.worse[0].startswith("desk: ece")
    assert "2.00 times as fast" in text(verdict)
