"""Brings the channels of a map that shares one 8-bit scale to one range, so that the small ones are not rounded away.

In a decoder step, maps of 0 to 6 are joined to the encoder's, which reach ±80, and a depthwise convolution mixes
neither. So it can run on each of them before they are joined. Nothing lies between it and the next convolution, so
each of its channels can be multiplied by a number by which the next one divides again (cross-layer equalisation:
Nagel et al., "Data-free quantization through weight equalization and bias correction", 2019; here by the ranges seen
on pictures, and exact, as both are linear). The network computes what it did before.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
import onnx
import onnxruntime
from numpy.typing import NDArray
from onnx import helper, numpy_helper

_MOST = 200.0  # a channel whose range is smaller than the largest by more than this is nearly empty
_REACH = 99.99  # percentile of the values that a range is to hold

_Floats = NDArray[np.float32]


def even_ranges(model: onnx.ModelProto, maps: Iterable[Mapping[str, Any]]) -> onnx.ModelProto:
    """The model with depthwise convolutions before joins, and their channels of one range; in place.

    Args:
        model: the far part.
        maps: its inputs for some pictures.
    """
    graph = model.graph
    users: dict[str, list[onnx.NodeProto]] = {}
    for node in graph.node:
        for name in node.input:
            users.setdefault(name, []).append(node)
    pairs = [
        (node, users[node.output[0]][0])
        for node in graph.node
        if _is_depthwise(node) and [n.op_type for n in users[node.output[0]]] == ["Conv"]
    ]
    joins = {node.output[0]: node for node in graph.node if node.op_type == "Concat"}
    seen = [node.output[0] for node, _ in pairs]
    joined = [name for join in joins.values() for name in join.input]
    ranges, channels = _observed(model, seen, joined, maps)
    weights = {w.name: w for w in graph.initializer}
    for first, second in pairs:
        if _is_depthwise(second):
            raise ValueError("two depthwise convolutions follow each other")
        most = ranges[first.output[0]]
        factor = (1 / np.maximum(most, most.max() / _MOST)).astype(np.float32)
        _multiply(weights[first.input[1]], factor[:, None, None, None])
        _multiply(weights[first.input[2]], factor)
        _multiply(weights[second.input[1]], 1 / factor[None, :, None, None])
    nodes: list[onnx.NodeProto] = []
    for node in graph.node:
        if _is_depthwise(node) and node.input[0] in joins:
            nodes += _before_join(node, joins[node.input[0]], channels, weights, graph)
        elif node.output[0] not in joins or not all(map(_is_depthwise, users[node.output[0]])):
            nodes.append(node)
    del graph.node[:]
    graph.node.extend(nodes)
    used = {name for node in nodes for name in node.input}
    kept = [w for w in graph.initializer if w.name in used]
    del graph.initializer[:]
    graph.initializer.extend(kept)
    onnx.checker.check_model(model)
    return model


def _is_depthwise(node: onnx.NodeProto) -> bool:
    return node.op_type == "Conv" and any(a.name == "group" and a.i > 1 for a in node.attribute)


def _observed(
    model: onnx.ModelProto, seen: list[str], joined: list[str], maps: Iterable[Mapping[str, Any]]
) -> tuple[dict[str, _Floats], dict[str, int]]:
    """The largest value of each channel of the maps ``seen``, and the number of channels of those ``joined``."""
    watched = onnx.ModelProto()
    watched.CopyFrom(model)
    given = [entry.name for entry in model.graph.input]
    names = [*seen, *(name for name in joined if name not in given)]
    known = [o.name for o in model.graph.output]
    watched.graph.output.extend(helper.make_empty_tensor_value_info(name) for name in names if name not in known)
    session = onnxruntime.InferenceSession(watched.SerializeToString(), providers=["CPUExecutionProvider"])
    ranges: dict[str, _Floats] = {}
    channels: dict[str, int] = {}
    for one in maps:
        found = dict(zip(names, session.run(names, dict(one)), strict=True)) | dict(one)
        channels |= {name: found[name].shape[1] for name in joined}
        for name in seen:
            most = np.percentile(np.abs(found[name][0]).reshape(found[name].shape[1], -1), _REACH, axis=1)
            ranges[name] = np.maximum(ranges.get(name, np.float32(0)), most).astype(np.float32)
    return ranges, channels


def _multiply(weight: onnx.TensorProto, factor: _Floats) -> None:
    changed = (numpy_helper.to_array(weight) * factor).astype(np.float32)
    weight.CopyFrom(numpy_helper.from_array(changed, weight.name))


def _before_join(
    node: onnx.NodeProto,
    join: onnx.NodeProto,
    channels: Mapping[str, int],
    weights: Mapping[str, onnx.TensorProto],
    graph: onnx.GraphProto,
) -> list[onnx.NodeProto]:
    """The depthwise convolution on each of the maps that are joined, and then the join."""
    parts, outputs, start = [], [], 0
    for number, name in enumerate(join.input):
        stop = start + channels[name]
        inputs = [name]
        for stored in node.input[1:]:
            own = numpy_helper.to_array(weights[stored])[start:stop]
            inputs.append(f"{stored}_{number}")
            graph.initializer.append(numpy_helper.from_array(np.ascontiguousarray(own), inputs[-1]))
        part = helper.make_node("Conv", inputs, [f"{node.output[0]}_{number}"], name=f"{node.name}_{number}")
        part.attribute.extend(node.attribute)
        next(a for a in part.attribute if a.name == "group").i = stop - start
        parts.append(part)
        outputs.append(part.output[0])
        start = stop
    return [*parts, helper.make_node("Concat", outputs, [node.output[0]], name=join.name, axis=1)]
