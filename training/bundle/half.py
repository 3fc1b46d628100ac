"""Weights of a network file in half precision: stored so, computed in single."""

from __future__ import annotations

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper


def stored_in_half(model: onnx.ModelProto) -> onnx.ModelProto:
    """Store matrices as float16 behind a Cast, which the runtime folds when it loads."""
    casts = []
    for tensor in list(model.graph.initializer):
        values = numpy_helper.to_array(tensor)
        # One number a channel, such as the factors of `folded`, stays as it is.
        if tensor.data_type != TensorProto.FLOAT or values.ndim < 2 or values.size == len(values):
            continue
        half = values.astype(np.float16)
        if not np.array_equal(half.astype(np.float32), values):
            raise ValueError(f"{tensor.name} is not exact in half precision")
        name = tensor.name
        tensor.CopyFrom(numpy_helper.from_array(half, f"{name}_half"))
        casts.append(helper.make_node("Cast", [f"{name}_half"], [name], to=TensorProto.FLOAT))
    nodes = [*casts, *model.graph.node]
    del model.graph.node[:]
    model.graph.node.extend(nodes)
    del model.graph.value_info[:]
    _forget_origin(model)
    onnx.checker.check_model(model)
    return model


def in_single(model: onnx.ModelProto) -> onnx.ModelProto:
    """Return a network whose half-precision weights are stored in single precision."""
    copy = onnx.ModelProto()
    copy.CopyFrom(model)
    halves = {each.name: each for each in copy.graph.initializer if is_half(each)}
    kept = []
    for node in copy.graph.node:
        if node.op_type == "Cast" and node.input[0] in halves:
            values = numpy_helper.to_array(halves[node.input[0]]).astype(np.float32)
            copy.graph.initializer.append(numpy_helper.from_array(values, node.output[0]))
        else:
            kept.append(node)
    for half in halves.values():
        copy.graph.initializer.remove(half)
    del copy.graph.node[:]
    copy.graph.node.extend(kept)
    return copy


def is_half(tensor: TensorProto) -> bool:
    return bool(tensor.data_type == TensorProto.FLOAT16)


def _forget_origin(model: onnx.ModelProto) -> None:
    """Drop the exporter's notes: stack traces that name folders of the machine it ran on."""
    graph = model.graph
    for part in (model, graph, *graph.node, *graph.initializer, *graph.input, *graph.output):
        del part.metadata_props[:]
        part.doc_string = ""
