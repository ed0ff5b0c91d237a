"""An exported network cut into the three parts that ``grader.coverage.network`` runs.

The first ends after the encoder's third block, a quarter as long and wide as the picture, and passes on the output of
its first block, which the last part needs; the second ends where the decoder reaches that size again. The last part
ends in chances, 0..1.

The part in the middle has nearly all of the weights; its file keeps them in half precision, which takes half of the
space. ONNX Runtime turns them back once, when it opens the file.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper
from onnx.utils import Extractor

from grader.coverage.network import PARTS

# Maps that pass from part to part: outputs of the encoder's first and third blocks, and of the decoder's last but one
_CUTS = {
    "finest": "/_blocks.0/_project_conv/Conv_output_0",
    "fine": "/_blocks.2/Add_output_0",
    "coarse": "/up4/up4.4/Clip_output_0",
}

_LARGE_BYTES = 4096  # smaller weights, such as biases, gain nothing


def write_parts(path: Path, folder: Path) -> None:
    """Cut a network, an ONNX file with input ``image`` and output ``logits``, into files in a folder.

    Raises:
        ValueError: the network lacks the layers at which it is cut.
    """
    network = onnx.shape_inference.infer_shapes(onnx.load(path))
    for node in network.graph.node:
        for names in (node.input, node.output):
            for short, full in _CUTS.items():
                names[:] = [short if name == full else name for name in names]
    made = {name for node in network.graph.node for name in node.output}
    if not made.issuperset(_CUTS):
        raise ValueError(f"{path} holds another network than this")
    for value in network.graph.value_info:
        value.name = next((short for short, full in _CUTS.items() if value.name == full), value.name)
    cut = Extractor(network).extract_model
    near = cut(["image"], ["finest", "fine"])
    far = cut(["fine"], ["coarse"])
    last = cut(["image", "finest", "coarse"], ["logits"])
    last.graph.node.append(helper.make_node("Sigmoid", ["logits"], ["chance"], name="chance"))
    last.graph.output[0].name = "chance"
    for name, part in zip(PARTS, (near, _in_halves(far), last), strict=True):
        onnx.checker.check_model(part)
        onnx.save(part, folder / f"{name}.onnx")


def read_parts(folder: Path) -> onnx.ModelProto:
    """One model of all parts in a folder; its output is ``chance``."""
    whole, *others = (read_part(folder / f"{name}.onnx") for name in PARTS)
    for part in others:
        whole.graph.node.extend(part.graph.node)
        whole.graph.initializer.extend(part.graph.initializer)
    del whole.graph.output[:]
    whole.graph.output.extend(others[-1].graph.output)
    return whole


def read_part(path: Path) -> onnx.ModelProto:
    """One part, with all of its weights in single precision."""
    model = onnx.load(path)
    graph = model.graph
    halves = {w.name: w for w in graph.initializer if w.data_type == TensorProto.FLOAT16}
    for node in [n for n in graph.node if n.op_type == "Cast" and n.input[0] in halves]:
        half = halves[node.input[0]]
        graph.initializer.append(
            numpy_helper.from_array(numpy_helper.to_array(half).astype(np.float32), node.output[0])
        )
        graph.initializer.remove(half)
        graph.node.remove(node)
    return model


def _in_halves(model: onnx.ModelProto) -> onnx.ModelProto:
    """The model with its larger weights in half precision, each followed by a cast back; in place."""
    graph = model.graph
    large = [w for w in graph.initializer if w.data_type == TensorProto.FLOAT and len(w.raw_data) >= _LARGE_BYTES]
    for weight in large:
        half = f"{weight.name}_half"
        graph.node.insert(0, helper.make_node("Cast", [half], [weight.name], name=half, to=TensorProto.FLOAT))
        graph.initializer.append(numpy_helper.from_array(numpy_helper.to_array(weight).astype(np.float16), half))
        graph.initializer.remove(weight)
    return model
