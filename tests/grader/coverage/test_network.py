"""The network's part in whole numbers: made of the weights that are shipped, and near enough to them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import onnxruntime
import pytest

import grader.coverage
from grader.coverage.network import FAR_IN_BYTES, PARTS, Network
from grader.photo import load_photo
from grader.samples import samples_folder

WEIGHTS = Path(grader.coverage.__file__).parent / "weights"


def test_whole_numbers_were_made_of_the_part_that_is_shipped() -> None:
    session = onnxruntime.InferenceSession(WEIGHTS / f"{FAR_IN_BYTES}.onnx", providers=["CPUExecutionProvider"])
    made_of = session.get_modelmeta().custom_metadata_map["far.onnx"]
    assert made_of == hashlib.sha256((WEIGHTS / "far.onnx").read_bytes()).hexdigest(), (
        "run grader.coverage.training.quantise"
    )


@pytest.mark.parametrize("network", [Network, Network.second])
@pytest.mark.parametrize(
    ("name", "plated_px"), [("memory-modules", 48_000), ("breakout-pads", 78_000), ("no-gold", 0)]
)
def test_whole_numbers_give_nearly_the_same_shares(
    network: Callable[..., Network], name: str, plated_px: float
) -> None:
    """Of the second network there are whole numbers only: ``exact`` computes with the same ones in floating point."""
    rgb = load_photo(samples_folder() / f"{name}.jpg").rgb
    exact, quick = (network(exact=each).run(rgb).share.astype(np.float64) for each in (True, False))
    assert quick.sum() == pytest.approx(exact.sum(), rel=0.01, abs=255 * 20)
    assert quick.sum() == pytest.approx(255 * plated_px, rel=0.1, abs=255 * 200)
    assert np.abs(quick - exact).mean() < 0.1  # of 255


def test_all_parts_together_are_small() -> None:
    files = [*WEIGHTS.rglob("*.onnx")]
    assert {file.stem for file in files} == {*PARTS, FAR_IN_BYTES}
    assert sum(file.stat().st_size for file in files) < 8e6


def test_the_second_network_is_another_that_finds_much_the_same() -> None:
    rgb = load_photo(samples_folder() / "breakout-pads.jpg").rgb
    first, second = (network.run(rgb).share.astype(np.float64) for network in (Network(), Network.second()))
    assert 0.8 < np.minimum(first, second).sum() / np.maximum(first, second).sum() < 0.99
