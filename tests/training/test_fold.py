"""Folding: a third of the time, the same answers."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import onnxruntime
import pytest
import torch
from numpy.typing import NDArray
from onnx import helper, numpy_helper

from classifier.inference.bundle import load_bundle
from tests.tiny_bundle import write_tiny_bundle
from training.bundle.export import Served, export_onnx
from training.bundle.fold import fold_bundle, folded
from training.bundle.half import in_single, stored_in_half
from training.network import SortNet


def _network(*, twice: bool = False, epsilon: float = 1e-3) -> onnx.ModelProto:
    """A convolution, its normalisation and a clip; `twice` uses the convolution elsewhere too."""
    rng = np.random.default_rng(3)
    norm = {name: rng.uniform(0.5, 2, 4) for name in ("gamma", "beta", "mean", "variance")}
    values: dict[str, NDArray[Any]] = {
        "weight": rng.normal(size=(4, 3, 3, 3)).astype(np.float16),
        "bias": rng.normal(size=4),
    }
    stored = [
        numpy_helper.from_array(value.astype(np.float32), name)
        for name, value in {**values, **norm}.items()
    ]
    nodes = [
        helper.make_node("CastLike", ["bias", "image"], ["bias_cast"]),
        helper.make_node("Conv", ["image", "weight", "bias_cast"], ["conv"]),
        helper.make_node("BatchNormalization", ["conv", *norm], ["normed"], epsilon=epsilon),
        helper.make_node("Relu", ["normed"], ["out"] if not twice else ["relu"]),
    ]
    if twice:
        nodes.append(helper.make_node("Add", ["relu", "conv"], ["out"]))
    image = helper.make_tensor_value_info("image", onnx.TensorProto.FLOAT, ["n", 3, 8, 8])
    out = helper.make_tensor_value_info("out", onnx.TensorProto.FLOAT, ["n", 4, 6, 6])
    graph = helper.make_graph(nodes, "small", [image], [out], stored)
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 18)], ir_version=9)


def _run(model: onnx.ModelProto) -> NDArray[np.float32]:
    session = onnxruntime.InferenceSession(
        model.SerializeToString(), providers=["CPUExecutionProvider"]
    )
    image = np.random.default_rng(1).normal(size=(2, 3, 8, 8)).astype(np.float32)
    (answer,) = session.run(None, {"image": image})
    return np.asarray(answer)


def _kinds(model: onnx.ModelProto) -> Counter[str]:
    return Counter(node.op_type for node in model.graph.node)


def test_a_normalisation_becomes_a_factor_and_a_bias() -> None:
    network = _network()
    after = folded(network)
    assert _kinds(after) == {"Mul": 1, "Conv": 1, "Relu": 1}
    np.testing.assert_allclose(_run(after), _run(network), atol=1e-5)


def test_folding_and_halving_keep_the_weights_exact() -> None:
    network = _network()
    halved = stored_in_half(folded(network))
    stored = {each.name: numpy_helper.to_array(each) for each in halved.graph.initializer}
    assert stored["weight_half"].dtype == np.float16
    np.testing.assert_array_equal(
        stored["weight_half"].astype(np.float32),
        numpy_helper.to_array(network.graph.initializer[0]),
    )
    assert folded(halved) is halved
    assert not _kinds(in_single(halved))["Cast"]


def test_a_convolution_that_something_else_reads_is_left_alone() -> None:
    network = _network(twice=True)
    after = folded(network)
    assert _kinds(after)["BatchNormalization"] == 1
    np.testing.assert_allclose(_run(after), _run(network), atol=1e-5)


def test_a_bundle_is_folded_in_place_and_stays_whole(tmp_path: Path) -> None:
    bundle = write_tiny_bundle(tmp_path / "tiny")
    assert fold_bundle(bundle) < 1e-5
    assert load_bundle(bundle).name == "tiny"


@pytest.mark.slow
def test_an_exported_network_has_no_normalisation_left(tmp_path: Path) -> None:
    torch.manual_seed(0)
    net = SortNet("lite0", 5, 3, pretrained=False)
    with torch.no_grad():
        for parameter in net.parameters():
            parameter.copy_(parameter.half().float())
    export_onnx(Served(net), tmp_path / "network.onnx", size=64)
    kinds = _kinds(onnx.load(tmp_path / "network.onnx"))
    assert kinds["BatchNormalization"] == kinds["CastLike"] == kinds["Expand"] == 0
    assert kinds["Conv"] == kinds["Mul"] == 49
