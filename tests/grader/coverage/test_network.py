"""The network's part in whole numbers: made of the weights that are shipped, and near enough to them."""

from __future__ import annotations

import hashlib
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


@pytest.mark.parametrize("name", ["memory-modules", "breakout-pads", "no-gold"])
def test_whole_numbers_give_nearly_the_same_shares(name: str) -> None:
    rgb = load_photo(samples_folder() / f"{name}.jpg").rgb[300:1100, 300:1300]
    exact, quick = (Network(exact=each).run(rgb).share.astype(np.float64) for each in (True, False))
    assert quick.sum() == pytest.approx(exact.sum(), rel=0.04, abs=255 * 20)
    assert np.abs(quick - exact).mean() < 1.0  # of 255


def test_all_parts_together_are_small() -> None:
    files = [WEIGHTS / f"{name}.onnx" for name in (*PARTS, FAR_IN_BYTES)]
    assert sum(file.stat().st_size for file in files) < 8e6
