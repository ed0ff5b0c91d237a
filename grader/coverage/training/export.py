"""Writes trained weights as ONNX, in parts: ``python -m grader.coverage.training.export coverage.pt FOLDER``."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import torch

from grader.coverage.network import FAR_IN_BYTES

from .fuse import fuse_relu6
from .model import COVERAGE, CoverageNet, decoder_of
from .parts import write_parts
from .quantise import quantise


def export_network(weights: Path, onnx: Path, lift: float = 0.0) -> None:
    """One input ``image`` (n, 3, h, w), one output ``logits`` (n, 6, h / 2, w / 2), any size that 32 divides.

    Args:
        weights: as written by training.
        onnx: output file.
        lift: added to the logits of plating, so that sums over pictures outside the training data are right.
    """
    state = torch.load(weights, map_location="cpu", weights_only=True)
    state["head.1.bias"][:COVERAGE] += lift
    model = CoverageNet(decoder_of(state))
    model.load_state_dict(state)
    model.eval()
    size = {0: "n", 2: "h", 3: "w"}
    torch.onnx.export(
        model,
        (torch.zeros(1, 3, 64, 64),),
        str(onnx),
        input_names=["image"],
        output_names=["logits"],
        dynamic_axes={"image": size, "logits": size},
        opset_version=17,
        dynamo=False,
    )
    fuse_relu6(onnx)


def main() -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("weights", type=Path)
    ask.add_argument("folder", type=Path, help="where the parts go, one file each")
    ask.add_argument(
        "--calibration",
        type=Path,
        nargs="*",
        default=[],
        metavar="FOLDER",
        help="pictures for ``quantise``, if wanted",
    )
    ask.add_argument("--lift", type=float, default=0.0, help="added to the logits of plating")
    got = ask.parse_args()
    with tempfile.TemporaryDirectory() as whole:
        export_network(got.weights, Path(whole) / "coverage.onnx", got.lift)
        write_parts(Path(whole) / "coverage.onnx", got.folder)
    (got.folder / f"{FAR_IN_BYTES}.onnx").unlink(missing_ok=True)  # it was made of other weights
    if got.calibration:
        quantise(got.folder, got.calibration)


if __name__ == "__main__":
    main()
