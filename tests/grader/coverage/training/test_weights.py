"""The shipped weights turned back into a state to train on from. Needs PyTorch and onnx."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="PyTorch is for training only, not installed with the tests")
pytest.importorskip("onnx", reason="onnx is for training only, not installed with the tests")

from grader.coverage.network import Network  # noqa: E402
from grader.coverage.training.export import export_network  # noqa: E402
from grader.coverage.training.model import CoverageNet, coverage_logits, network_input  # noqa: E402
from grader.coverage.training.parts import write_parts  # noqa: E402
from grader.coverage.training.weights import read_weights  # noqa: E402

SHIPPED = Path(__file__).parents[4] / "grader" / "coverage" / "weights"


def test_shipped_weights_say_the_same_in_training() -> None:
    rgb = np.random.default_rng(3).integers(0, 256, (96, 128, 3), np.uint8)
    model = CoverageNet()
    model.load_state_dict(read_weights(SHIPPED))
    with torch.no_grad():
        outputs = model.eval()(network_input(torch.from_numpy(rgb).permute(2, 0, 1)[None] / 255))
    share = torch.sigmoid(coverage_logits(outputs))[0, 0].numpy()
    assert np.abs(255 * share - Network(exact=True).run(rgb).share).max() < 0.51


def test_exported_again_they_are_the_same(tmp_path: Path) -> None:
    torch.save(read_weights(SHIPPED), tmp_path / "again.pt")
    export_network(tmp_path / "again.pt", tmp_path / "again.onnx")
    write_parts(tmp_path / "again.onnx", tmp_path)
    first = read_weights(SHIPPED)
    for again in (read_weights(tmp_path / "again.onnx"), read_weights(tmp_path)):
        assert again.keys() == first.keys()
        assert all(torch.allclose(again[name], first[name], atol=1e-5) for name in first)
