"""Rewrite a network's ReLU6 so that OpenCV runs it in one pass with the convolution before it.

``cv2.dnn`` of OpenCV 5 fuses a hard sigmoid into a convolution, but not a clip, which costs a separate pass and two
changes of memory layout. Both are equal: min(max(x, 0), 6) = 6 · min(max(x / 6, 0), 1). The factor 6 goes into the
weights of the convolutions that read it; zeros at the border stay zeros.
"""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import numpy as np
import onnx
from onnx import helper, numpy_helper

_TOP = 6.0


def fuse_relu6(path: Path) -> int:
    """Rewrite the file; return the number of changed activations.

    Raises:
        ValueError: an activation's output goes elsewhere than unchanged into convolutions.
    """
    model = onnx.load(path)
    network = _Network(model.graph)
    clips = [node for node in model.graph.node if node.op_type == "Clip" and network.is_relu6(node)]
    for node in clips:
        del node.input[1:]
        node.op_type = "HardSigmoid"
        node.attribute.extend([helper.make_attribute("alpha", 1 / _TOP), helper.make_attribute("beta", 0.0)])
        network.scale_readers(node.output[0], 0, network.width(node.output[0]), _TOP)
    network.drop_unused_constants()
    onnx.checker.check_model(model)
    onnx.save(model, path)
    return len(clips)


def unfuse_relu6(model: onnx.ModelProto) -> onnx.ModelProto:
    """Take the factor 6 out of the weights again, in place; rewritten activations stay hard sigmoids."""
    network = _Network(model.graph)
    for node in model.graph.node:
        if node.op_type == "HardSigmoid":
            network.scale_readers(node.output[0], 0, network.width(node.output[0]), 1 / _TOP)
    return model


class _Network:
    """The readers of each tensor in a graph, with their weights."""

    def __init__(self, graph: onnx.GraphProto) -> None:
        self._graph = graph
        self._makers = {name: node for node in graph.node for name in node.output}
        self._weights = {w.name: w for w in graph.initializer}
        self._readers: dict[str, list[onnx.NodeProto]] = defaultdict(list)
        for node in graph.node:
            for name in node.input:
                self._readers[name].append(node)

    def is_relu6(self, clip: onnx.NodeProto) -> bool:
        limits = [numpy_helper.to_array(self._makers[n].attribute[0].t) for n in clip.input[1:]]
        return np.array_equal(limits, [0.0, _TOP])

    def width(self, name: str) -> int:
        """Channels of a tensor."""
        maker = self._makers[name]
        if maker.op_type == "Conv":
            return int(self._weights[maker.input[1]].dims[0])
        return sum(map(self.width, maker.input)) if maker.op_type == "Concat" else self.width(maker.input[0])

    def scale_readers(self, name: str, first: int, count: int, by: float) -> None:
        """Multiply the weights with which convolutions read some channels of a tensor."""
        for node in self._readers[name]:
            if node.op_type == "Conv":
                self._scale(self._weights[node.input[1]], slice(first, first + count), by)
            elif node.op_type == "Resize":
                self.scale_readers(node.output[0], first, count, by)
            elif node.op_type == "Concat":
                before = sum(map(self.width, list(node.input)[: list(node.input).index(name)]))
                self.scale_readers(node.output[0], before + first, count, by)
            else:
                raise ValueError(f"{node.op_type} reads an activation")

    def _scale(self, weight: onnx.TensorProto, channels: slice, by: float) -> None:
        values = numpy_helper.to_array(weight).copy()
        depthwise = values.shape[1] == 1  # then each channel has its own output
        values[channels if depthwise else (slice(None), channels)] *= by
        weight.CopyFrom(numpy_helper.from_array(values, weight.name))

    def drop_unused_constants(self) -> None:
        used = {name for node in self._graph.node for name in node.input}
        for node in [n for n in self._graph.node if n.op_type == "Constant" and n.output[0] not in used]:
            self._graph.node.remove(node)
