"""Evened channels: the network computes what it did, and every channel uses its share of the 8 bits."""

from __future__ import annotations

import numpy as np
import pytest

onnx = pytest.importorskip("onnx", reason="onnx is for training only, not installed with the tests")

import onnxruntime  # noqa: E402
from onnx import helper, numpy_helper  # noqa: E402

from grader.coverage.training.even_ranges import even_ranges  # noqa: E402


def decoder_step() -> onnx.ModelProto:
    """A small map and a large one joined, a depthwise convolution, then one that mixes channels."""
    rng = np.random.default_rng(3)
    weights = {
        "w1": rng.normal(0, 1, (6, 1, 3, 3)),
        "b1": rng.normal(0, 0.1, 6),
        "w2": rng.normal(0, 1, (4, 6, 1, 1)),
        "b2": rng.normal(0, 0.1, 4),
    }
    nodes = [
        helper.make_node("Concat", ["small", "large"], ["joined"], axis=1, name="join"),
        helper.make_node("Conv", ["joined", "w1", "b1"], ["seen"], group=6, pads=[1, 1, 1, 1], name="first"),
        helper.make_node("Conv", ["seen", "w2", "b2"], ["out"], name="second"),
    ]
    values = [
        helper.make_tensor_value_info(n, onnx.TensorProto.FLOAT, [1, c, "h", "w"])
        for n, c in (("small", 2), ("large", 4))
    ]
    out = [helper.make_tensor_value_info("out", onnx.TensorProto.FLOAT, [1, 4, "h", "w"])]
    stored = [numpy_helper.from_array(w.astype(np.float32), n) for n, w in weights.items()]
    graph = helper.make_graph(nodes, "step", values, out, stored)
    return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)


def maps(seed: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(seed)
    return {
        "small": rng.uniform(0, 0.5, (1, 2, 12, 16)).astype(np.float32),
        "large": rng.normal(0, 30, (1, 4, 12, 16)).astype(np.float32),
    }


def run(model: onnx.ModelProto, given: dict[str, np.ndarray], name: str = "out") -> np.ndarray:
    if name != "out":
        model.graph.output.append(helper.make_empty_tensor_value_info(name))
    session = onnxruntime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    return np.asarray(session.run([name], given)[0])


def test_the_network_computes_what_it_did() -> None:
    before = run(decoder_step(), maps(9))
    after = run(even_ranges(decoder_step(), [maps(1), maps(2)]), maps(9))
    assert after == pytest.approx(before, abs=1e-3 * float(np.abs(before).max()))


def test_channels_of_the_mixed_map_have_one_range() -> None:
    model = even_ranges(decoder_step(), [maps(1), maps(2)])
    reach = np.abs(run(model, maps(1), "seen"))[0].max((1, 2))
    assert reach.max() < 2 * reach.min()
    raw = np.abs(run(decoder_step(), maps(1), "seen"))[0].max((1, 2))
    assert raw.max() > 20 * raw.min()


def test_the_maps_are_joined_after_the_depthwise_convolution() -> None:
    model = even_ranges(decoder_step(), [maps(1)])
    assert [n.op_type for n in model.graph.node] == ["Conv", "Conv", "Concat", "Conv"]
