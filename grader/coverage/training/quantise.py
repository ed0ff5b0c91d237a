"""The far part in whole numbers: ``python -m grader.coverage.training.quantise WEIGHTS FOLDER...``.

Writes ``far8.onnx`` beside the parts: its convolutions multiply 8-bit numbers, which takes half the time. Which
range each map needs is read off pictures (``FOLDER/images``). The near and the last part stay as they are: they hold
the finest maps, on which the shares of single pixels depend, and gain little.

Weights keep all 8 bits: processors without instructions for such sums would need 7 (ONNX Runtime's guide to
quantisation). They run ``far.onnx`` instead; of the second network, which has no such file, they compute with the
same whole numbers in floating point.

Run this again whenever the parts change: the file says which ``far.onnx`` it was made of.
"""

from __future__ import annotations

import argparse
import hashlib
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import onnxruntime
from numpy.typing import NDArray
from onnx import numpy_helper
from onnxruntime.quantization import CalibrationDataReader, QuantFormat, QuantType, quantize_static
from onnxruntime.quantization.shape_inference import quant_pre_process

from grader.coverage.network import FAR_IN_BYTES, network_input
from grader.photo import load_photo, shrunk

from .even_ranges import even_ranges
from .fuse import unfuse_relu6
from .parts import read_part

MADE_OF = "far.onnx"  # key of the metadata: SHA-256 of the file that was quantised
_TOP = 6.0
_LIMITS = ((0.0, "_least"), (_TOP, "_most"))
_PICTURES_OF_EACH = 30
_SIDE_PX = 448  # of a crop
_LONGEST_PX = (490, 1540)  # sides of whole pictures that crops are taken from: coarse and fine passes alike


def quantise(folder: Path, pictures: Sequence[Path], seed: int = 0) -> Path:
    """Write the far part in whole numbers into the folder of the parts; return its path.

    Args:
        folder: with ``near.onnx`` and ``far.onnx``.
        pictures: folders with ``images``, from each of which some are drawn.
        seed: of the drawing.

    Raises:
        ValueError: there are no pictures.
    """
    rng = np.random.default_rng(seed)
    crops = [crop for f in pictures for crop in _crops(f, rng)]
    if not crops:
        raise ValueError("no pictures to read ranges off")
    near = onnxruntime.InferenceSession(str(folder / "near.onnx"), providers=["CPUExecutionProvider"])
    maps = [{"fine": near.run(["fine"], {"image": network_input(crop)})[0]} for crop in crops]
    out = folder / f"{FAR_IN_BYTES}.onnx"
    with tempfile.TemporaryDirectory() as scratch:
        clipped, whole = Path(scratch) / "clipped.onnx", Path(scratch) / "whole.onnx"
        onnx.save(even_ranges(_clipped(read_part(folder / "far.onnx")), maps), clipped)
        quant_pre_process(str(clipped), str(whole), skip_symbolic_shape=True)
        quantize_static(
            str(whole),
            str(out),
            _Reader(iter(maps)),
            quant_format=QuantFormat.QDQ,
            per_channel=True,
            activation_type=QuantType.QUInt8,
            weight_type=QuantType.QInt8,
        )
    model = _as_before(onnx.load(out))
    entry = model.metadata_props.add()
    entry.key, entry.value = MADE_OF, hashlib.sha256((folder / "far.onnx").read_bytes()).hexdigest()
    onnx.save(model, out)
    return out


class _Reader(CalibrationDataReader):
    """Maps one after another, as ONNX Runtime asks for them."""

    def __init__(self, maps: Iterator[dict[str, Any]]) -> None:
        self._maps = maps

    def get_next(self) -> dict[str, Any] | None:
        return next(self._maps, None)


def _crops(folder: Path, rng: np.random.Generator) -> list[NDArray[np.uint8]]:
    """Crops of some pictures, each at a size at which the segmenter may read it."""
    names = sorted((folder / "images").iterdir())
    found = []
    for at in rng.permutation(len(names))[:_PICTURES_OF_EACH].tolist():
        rgb = load_photo(names[at]).rgb
        factor = min(1.0, rng.uniform(*_LONGEST_PX) / max(rgb.shape[:2]))
        rgb = shrunk(rgb, (round(rgb.shape[1] * factor), round(rgb.shape[0] * factor)))
        top, left = (int(rng.integers(0, max(1, n - _SIDE_PX))) for n in rgb.shape[:2])
        crop = rgb[top : top + _SIDE_PX, left : left + _SIDE_PX]
        height, width = (n // 32 * 32 for n in crop.shape[:2])
        if height and width:
            found.append(np.ascontiguousarray(crop[:height, :width]))
    return found


def _clipped(model: onnx.ModelProto) -> onnx.ModelProto:
    """The model with its hard sigmoids as ReLU6, which rounding to whole numbers does by itself; in place.

    Their range, 0 to 6, is nearer that of the maps that are joined to theirs and share their steps (at 0 to 1,
    photographs lose a fifth of their IoU). The model's output becomes six times what it was.
    """
    unfuse_relu6(model)
    model.graph.initializer.extend(numpy_helper.from_array(np.array(v, np.float32), name) for v, name in _LIMITS)
    for node in [n for n in model.graph.node if n.op_type == "HardSigmoid"]:
        del node.attribute[:]
        node.op_type = "Clip"
        node.input.extend([name for _, name in _LIMITS])
    return model


def _as_before(model: onnx.ModelProto) -> onnx.ModelProto:
    """The quantised model with its output as that of the part it was made of; in place."""
    (last,) = (n for n in model.graph.node if model.graph.output[0].name in n.output)
    if last.op_type != "DequantizeLinear":
        raise ValueError("the output is no quantised map")
    (scale,) = (w for w in model.graph.initializer if w.name == last.input[1])
    step = numpy_helper.to_array(scale) / np.float32(_TOP)
    model.graph.initializer.append(numpy_helper.from_array(step, "_step"))
    last.input[1] = "_step"
    return model


def main(arguments: Sequence[str] | None = None) -> None:
    """Command line."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("weights", type=Path, help="the folder with the parts")
    ask.add_argument("folders", type=Path, nargs="+", metavar="FOLDER", help="with pictures in FOLDER/images")
    ask.add_argument("--seed", type=int, default=0)
    got = ask.parse_args(arguments)
    quantise(got.weights, got.folders, got.seed)


if __name__ == "__main__":
    main()
