"""Take out of an exported network what never changes, so that it runs in a third of the time.

The exporter leaves each batch normalisation as a node of its own, with constants that it works out
at every picture; the runtime can neither fold nor fuse them. Here the constants are worked out once
and each normalisation becomes a factor of the convolution before it:
`gamma * (conv(x, W) - mean) / s + beta = conv(x, W * gamma / s) + (beta - mean * gamma / s)` with
`s = sqrt(variance + epsilon)`. `W` itself stays as it is, exact in half precision; the factor is
stored beside it and the runtime multiplies the two while it loads.

`python -m training.bundle.fold models/household` does it for a bundle that was exported without.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import onnx
import onnxruntime
from numpy.typing import NDArray
from onnx import helper, numpy_helper
from onnxscript import optimizer

from classifier.errors import BundleError
from classifier.inference.bundle import load_bundle
from classifier.inference.manifest import MANIFEST_NAME, read_manifest, write_manifest
from training.bundle.half import in_single, is_half, stored_in_half

_SAME = 1e-4  # largest difference in probability between the two forms of one network

Constants = Mapping[str, NDArray[np.generic]]


def folded(model: onnx.ModelProto) -> onnx.ModelProto:
    """Return a network in single precision with its normalisations folded into convolutions.

    One without normalisations, as one that was folded before, is returned as it is.
    """
    if not any(node.op_type == "BatchNormalization" for node in model.graph.node):
        return model
    model = _with_known_types(in_single(model))
    optimizer.fold_constants(model, output_size_limit=1 << 26, input_size_limit=1 << 26)
    optimizer.remove_unused_nodes(model)
    constants = {each.name: numpy_helper.to_array(each) for each in model.graph.initializer}
    _constants_to_weights(model, constants)
    _fuse(model, constants)
    optimizer.remove_unused_nodes(model)
    _forget_unused(model)
    onnx.checker.check_model(model)
    return model


def fold_bundle(directory: Path) -> float:
    """Fold the network of a bundle in place; returns the largest difference in probability.

    Raises
    ------
    BundleError
        No whole bundle, or the folded network does not answer as the first one did.
    """
    load_bundle(directory)
    manifest = read_manifest(directory)
    path = directory / manifest.network.file
    before = onnx.load(path)
    after = folded(before)
    if after is not before and any(is_half(each) for each in before.graph.initializer):
        after = stored_in_half(after)
    names = (manifest.network.input, manifest.network.form_logits)
    difference = _difference(before, after, names, manifest.preprocessing.size)
    if difference > _SAME:
        raise BundleError(
            f"{path}: the folded network differs by {difference:.2g} in probability, more than "
            f"{_SAME}; nothing was changed: export the bundle again"
        )
    content = json.loads((directory / MANIFEST_NAME).read_text(encoding="utf-8"))
    onnx.save(after, path)
    write_manifest(directory, {key: value for key, value in content.items() if key != "format"})
    load_bundle(directory)
    return difference


def _with_known_types(model: onnx.ModelProto) -> onnx.ModelProto:
    """Say which type a `CastLike` casts to: else its result hangs on the picture, as it seems."""
    known = onnx.shape_inference.infer_shapes(model).graph
    types = {
        each.name: each.type.tensor_type.elem_type for each in (*known.value_info, *known.input)
    }
    types |= {each.name: each.data_type for each in known.initializer}
    for node in model.graph.node:
        if node.op_type == "CastLike" and node.input[1] in types:
            target = types[node.input[1]]
            node.CopyFrom(helper.make_node("Cast", node.input[:1], node.output, to=target))
    return model


def _constants_to_weights(
    model: onnx.ModelProto, constants: dict[str, NDArray[np.generic]]
) -> None:
    """Make initializers of constant nodes, which keep the runtime from fusing activations."""
    kept = []
    for node in model.graph.node:
        if node.op_type != "Constant" or node.attribute[0].name != "value":
            kept.append(node)
            continue
        values = numpy_helper.to_array(node.attribute[0].t)
        constants[node.output[0]] = values
        model.graph.initializer.append(numpy_helper.from_array(values, node.output[0]))
    del model.graph.node[:]
    model.graph.node.extend(kept)


def _fuse(model: onnx.ModelProto, constants: Constants) -> None:
    graph = model.graph
    used = [name for node in graph.node for name in node.input]
    convolutions = {node.output[0]: node for node in graph.node if node.op_type == "Conv"}
    scaled, gone = [], []
    for norm in graph.node:
        if norm.op_type != "BatchNormalization":
            continue
        conv = convolutions.get(norm.input[0])
        if conv is None or used.count(conv.output[0]) != 1 or conv.input[1] not in constants:
            continue
        if not all(name in constants for name in norm.input[1:5]):
            continue
        factor, bias = _as_factor(norm, conv, constants)
        weight = conv.input[1]
        new = {f"{weight}_factor": factor.reshape(-1, 1, 1, 1), f"{weight}_bias": bias}
        graph.initializer.extend(numpy_helper.from_array(v, name) for name, v in new.items())
        scaled.append(helper.make_node("Mul", [weight, f"{weight}_factor"], [f"{weight}_scaled"]))
        del conv.input[1:]
        conv.input.extend([f"{weight}_scaled", f"{weight}_bias"])
        conv.output[0] = norm.output[0]
        gone.append(norm.output[0])
    kept = [n for n in graph.node if n.op_type != "BatchNormalization" or n.output[0] not in gone]
    del graph.node[:]
    graph.node.extend([*scaled, *kept])
    del graph.value_info[:]


def _as_factor(
    norm: onnx.NodeProto, conv: onnx.NodeProto, constants: Constants
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    gamma, beta, mean, variance = (constants[name].astype(np.float64) for name in norm.input[1:5])
    epsilon = next((each.f for each in norm.attribute if each.name == "epsilon"), 1e-5)
    factor = gamma / np.sqrt(variance + epsilon)
    own = constants[conv.input[2]].astype(np.float64) if len(conv.input) > 2 else 0.0
    return factor.astype(np.float32), (beta + (own - mean) * factor).astype(np.float32)


def _forget_unused(model: onnx.ModelProto) -> None:
    used = {name for node in model.graph.node for name in node.input}
    kept = [each for each in model.graph.initializer if each.name in used]
    del model.graph.initializer[:]
    model.graph.initializer.extend(kept)


def _difference(
    before: onnx.ModelProto, after: onnx.ModelProto, names: tuple[str, str], size: int
) -> float:
    pictures = np.random.default_rng(0).uniform(-1, 1, (8, 3, size, size)).astype(np.float32)
    answers = []
    for model in (before, after):
        session = onnxruntime.InferenceSession(
            model.SerializeToString(), providers=["CPUExecutionProvider"]
        )
        (logits,) = session.run([names[1]], {names[0]: pictures})
        raised = np.exp(logits - logits.max(axis=1, keepdims=True))
        answers.append(raised / raised.sum(axis=1, keepdims=True))
    return float(np.abs(answers[0] - answers[1]).max())


def main() -> None:
    """Fold the networks of the bundles that are named."""
    parser = argparse.ArgumentParser(
        prog="python -m training.bundle.fold", description=fold_bundle.__doc__
    )
    parser.add_argument("bundle", nargs="+", type=Path, help="directory of a bundle")
    for directory in parser.parse_args().bundle:
        difference = fold_bundle(directory)
        sys.stdout.write(f"{directory}: folded; probabilities differ by {difference:.1e} at most\n")


if __name__ == "__main__":
    main()
