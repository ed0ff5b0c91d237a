"""The learned coverage network, run by ONNX Runtime: pictures in, maps of shares out.

Weights and their model card: ``grader/coverage/weights``. Training: ``grader/coverage/training``.
"""

from __future__ import annotations

import itertools
import math
import threading
from dataclasses import dataclass
from importlib import resources
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

_STRIDE = 32
_MEAN, _SPREAD = 127.0, 128.0
_MOST_AT_ONCE_PX = 560_000  # one pass takes some 0.5 kB a pixel
_MARGIN_PX = 2 * _STRIDE
_LEAST_BLOCK_PX = 256


@dataclass(frozen=True)
class Maps:
    """What the network says of one picture.

    Attributes:
        share: float32 (height, width), plated share of each pixel, 0..1.
        contact: float32 (ceil(height / 2), ceil(width / 2)), chance that plating there is an edge contact, not a pad.
        board: float32, same shape as ``contact``: chance that there is a board.
    """

    share: NDArray[np.float32]
    contact: NDArray[np.float32]
    board: NDArray[np.float32]


class Network:
    """The network with its weights loaded. Threads that share one wait for each other, a pass at a time.

    Args:
        weights: an ONNX file's bytes; without them those that the product ships.
    """

    def __init__(self, weights: bytes | None = None) -> None:
        if weights is None:
            weights = resources.files("grader.coverage").joinpath("weights/coverage.onnx").read_bytes()
        self._session = _session(weights)
        self._turn = threading.Lock()

    def run(self, rgb: NDArray[np.uint8]) -> Maps:
        """Maps of a picture, uint8 (height, width, 3), of any size.

        A large picture goes through in overlapping blocks: memory then stays the same whatever its size.
        """
        height, width = rgb.shape[:2]
        if height * width <= _MOST_AT_ONCE_PX:
            return self._pass(rgb)
        share = np.empty((height, width), np.float32)
        half = ((height + 1) // 2, (width + 1) // 2)
        contact, board = np.empty(half, np.float32), np.empty(half, np.float32)
        tall, wide = _block_px(height, width)
        for top in range(0, height, tall):
            for left in range(0, width, wide):
                y0, x0 = max(top - _MARGIN_PX, 0), max(left - _MARGIN_PX, 0)
                bottom, right = min(top + tall, height), min(left + wide, width)
                maps = self._pass(rgb[y0 : bottom + _MARGIN_PX, x0 : right + _MARGIN_PX])
                share[top:bottom, left:right] = maps.share[top - y0 : bottom - y0, left - x0 : right - x0]
                to = (slice(top // 2, (bottom + 1) // 2), slice(left // 2, (right + 1) // 2))
                of = (slice((top - y0) // 2, (bottom - y0 + 1) // 2), slice((left - x0) // 2, (right - x0 + 1) // 2))
                contact[to], board[to] = maps.contact[of], maps.board[of]
        return Maps(share, contact, board)

    def rest(self) -> None:
        """Give back the memory of the passes, some hundred megabytes, until the next picture comes."""
        import onnxruntime

        shrink = onnxruntime.RunOptions()
        shrink.add_run_config_entry("memory.enable_memory_arena_shrinkage", "cpu:0")
        with self._turn:
            self._session.run(None, {"image": np.zeros((1, 3, _STRIDE, _STRIDE), np.float32)}, shrink)

    def _pass(self, rgb: NDArray[np.uint8]) -> Maps:
        height, width = rgb.shape[:2]
        padded = cv2.copyMakeBorder(rgb, 0, -height % _STRIDE, 0, -width % _STRIDE, cv2.BORDER_REPLICATE)
        blob = cv2.dnn.blobFromImage(padded, 1 / _SPREAD, mean=(_MEAN, _MEAN, _MEAN))
        with self._turn:
            (logits,) = self._session.run(None, {"image": blob})
        chance = _chance(logits[0])
        rows, columns = chance.shape[1:]
        share = chance[:4].reshape(2, 2, rows, columns).transpose(2, 0, 3, 1).reshape(2 * rows, 2 * columns)
        half = (slice(0, (height + 1) // 2), slice(0, (width + 1) // 2))
        return Maps(np.ascontiguousarray(share[:height, :width]), chance[4][half], chance[5][half])


def _session(weights: bytes) -> Any:
    """The network ready to run, on as many threads as OpenCV uses; imported here, as most commands run none."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = max(1, cv2.getNumThreads())
    options.inter_op_num_threads = 1
    # Threads that wait for work by turning would take the processor from the rest of the measurement.
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    options.enable_mem_pattern = False  # pictures of many sizes: a plan for each would be memory for each
    options.log_severity_level = 3  # errors; its warnings tell of the machine, not of the photo
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])


def _chance(logits: NDArray[np.float32]) -> NDArray[np.float32]:
    """1 / (1 + exp(-x)), in place."""
    np.negative(logits, out=logits)
    np.exp(logits, out=logits)
    logits += 1
    return np.reciprocal(logits, out=logits)


def _block_px(height: int, width: int) -> tuple[int, int]:
    """Height and width, multiples of the stride, of equal blocks, small enough at once, that read least twice."""
    tall, wide = (
        [(parts, math.ceil(n / parts / _STRIDE) * _STRIDE) for parts in range(1, n // _LEAST_BLOCK_PX + 2)]
        for n in (height, width)
    )

    def largest_px(blocks: tuple[tuple[int, int], ...]) -> int:
        return math.prod(side + min(parts - 1, 2) * _MARGIN_PX for parts, side in blocks)

    def read_px(blocks: tuple[tuple[int, int], ...]) -> int:
        return math.prod(parts * side + (parts - 1) * 2 * _MARGIN_PX for parts, side in blocks)

    fitting = [pair for pair in itertools.product(tall, wide) if largest_px(pair) <= _MOST_AT_ONCE_PX]
    (_, block_height), (_, block_width) = min(fitting, key=read_px)
    return block_height, block_width
