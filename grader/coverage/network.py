"""The learned coverage network, run by ONNX Runtime: pictures in, maps of shares out.

The network comes in three parts. Its first and last layers look only a few pixels far, but hold a picture's finest
and so largest maps: they run on small tiles, whose maps stay in the processor's cache, and on as many tiles at once
as there are threads. The layers in between see far and run on the whole picture at an eighth of its length and width
or less. A tile reads as far beyond its edges as its layers look, so that the maps equal those of a single run.

There are two such networks, of one make: the second was trained further, on more photographs, and finds and
overlooks other things (``several_looks``).

Weights and their model card: ``grader/coverage/weights``. Training: ``grader/coverage/training``.
"""

from __future__ import annotations

import ctypes
import functools
import itertools
import math
import threading
from contextlib import suppress
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.threads import in_parallel

PARTS = ("near", "far", "last")
"""Files of the parts, without their ending, in the order in which they run."""
FAR_IN_BYTES = "far8"
"""File of ``far`` in whole numbers, which takes half the time: see ``training.quantise``."""
SECOND = "second"
"""Folder of the second network's weights, in that of the first. It has its ``far`` in whole numbers only."""

# Numbers of OpenCV's cvdef.h: AVX-512 VNNI, and the dot product of NEON. Without such instructions, sums of products
# of 8-bit numbers saturate on some processors (ONNX Runtime's guide to quantisation).
_SUMS_OF_BYTES = (23, 101)
_STRIDE = 32
_ARENA_MAX, _HEAPS = -8, 2  # M_ARENA_MAX of malloc.h
_MEAN, _SPREAD = 127.0, 128.0
_MOST_AT_ONCE_PX = 1_300_000  # one pass takes some 0.15 kB a pixel
_MARGIN_PX = 2 * _STRIDE
_LEAST_BLOCK_PX = 256
_TILE_PX = 192  # smaller tiles read more beyond their edges, larger ones leave the cache: 256 as fast, 384 slower
_CHANNELS = 24  # of the map between the first part and the second
_BEYOND_PX = 12  # the first layers look 9 px far; the last look 8 px into their output, which is right from 3 px on

PixelBox = tuple[slice, slice]


@dataclass(frozen=True)
class Maps:
    """Output of the network for one picture; 255 = 1.

    Attributes:
        share: uint8 (height, width), plated share of each pixel.
        contact: uint8 (ceil(height / 2), ceil(width / 2)), chance that plating there is an edge contact, not a pad.
        board: uint8, same shape as ``contact``: chance that there is a board.
    """

    share: NDArray[np.uint8]
    contact: NDArray[np.uint8]
    board: NDArray[np.uint8]


@dataclass(frozen=True)
class _Tile:
    """A rectangle of a picture: it fills in ``inner`` and reads ``outer``; multiples of 4 px."""

    inner: PixelBox
    outer: PixelBox

    def own(self, per_px: int) -> PixelBox:
        """Place of ``inner`` in a map of ``outer`` that has one value for each ``per_px`` pixels."""
        rows, columns = (
            slice((i.start - o.start) // per_px, (i.stop - o.start) // per_px)
            for i, o in zip(self.inner, self.outer, strict=True)
        )
        return rows, columns


class Network:
    """The network with its weights loaded. Threads that share a network wait for each other, one picture at a time.

    Args:
        weights: a folder with weights other than those that the product ships, ``near.onnx`` and so on.
        exact: whether the part in the middle is computed in floating point; if not, it is in whole numbers, provided
            that the folder has it and the processor has instructions for it. If the folder has whole numbers only,
            floating point means computing with those.
    """

    def __init__(self, weights: Path | Traversable | None = None, *, exact: bool = False) -> None:
        folder = _shipped() if weights is None else weights
        threads = max(1, cv2.getNumThreads())
        in_bytes = not exact and any(map(cv2.checkHardwareSupport, _SUMS_OF_BYTES))
        near, far, last, whole = (folder.joinpath(f"{part}.onnx") for part in (*PARTS, FAR_IN_BYTES))
        if whole.is_file() and (in_bytes or not far.is_file()):
            far = whole
        self._near, self._last = _session(near.read_bytes(), 1), _session(last.read_bytes(), 1)
        self._far = _session(far.read_bytes(), threads, in_bytes=in_bytes)
        self._turn = threading.Lock()

    @classmethod
    def second(cls, *, exact: bool = False) -> Network:
        """The second of the networks that the product ships."""
        return cls(_shipped().joinpath(SECOND), exact=exact)

    def run(self, rgb: NDArray[np.uint8]) -> Maps:
        """Maps of a picture, uint8 (height, width, 3), of any size.

        A large picture is run in overlapping blocks, so that memory stays the same whatever its size.
        """
        height, width = rgb.shape[:2]
        if height * width <= _MOST_AT_ONCE_PX:
            return self._pass(rgb)
        share = np.empty((height, width), np.uint8)
        half = ((height + 1) // 2, (width + 1) // 2)
        contact, board = np.empty(half, np.uint8), np.empty(half, np.uint8)
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
        """Give back the memory of the passes, some hundred megabytes, until the next picture comes.

        All networks share it, so this serves them all.
        """
        import onnxruntime

        shrink = onnxruntime.RunOptions()
        shrink.add_run_config_entry("memory.enable_memory_arena_shrinkage", "cpu:0")
        with self._turn:
            small = np.zeros((1, _CHANNELS, _STRIDE // 4, _STRIDE // 4), np.float32)
            self._far.run(None, {"fine": small}, shrink)
        with suppress(OSError, AttributeError):  # only glibc has this function
            ctypes.CDLL(None).malloc_trim(0)

    def _pass(self, rgb: NDArray[np.uint8]) -> Maps:
        height, width = rgb.shape[:2]
        padded = cv2.copyMakeBorder(rgb, 0, -height % _STRIDE, 0, -width % _STRIDE, cv2.BORDER_REPLICATE)
        tall, wide = padded.shape[0] // 2, padded.shape[1] // 2
        fine = np.empty((1, _CHANNELS, tall // 2, wide // 2), np.float32)
        share = np.empty((tall, 2, wide, 2), np.uint8)
        rest = np.empty((2, tall, wide), np.uint8)

        def image(tile: _Tile) -> NDArray[np.float32]:
            return network_input(padded[tile.outer])

        def begin(tile: _Tile) -> tuple[_Tile, NDArray[np.float32]]:
            finest, seen = self._near.run(["finest", "fine"], {"image": image(tile)})
            fine[0][:, *_each(tile.inner, 4)] = seen[0][:, *tile.own(4)]
            return tile, finest

        def end(begun: tuple[_Tile, NDArray[np.float32]]) -> None:
            tile, finest = begun
            far = np.ascontiguousarray(coarse[:, :, *_each(tile.outer, 4)])
            (chance,) = self._last.run(["chance"], {"image": image(tile), "finest": finest, "coarse": far})
            own = chance[0][:, *tile.own(2)]
            as_bytes = np.asarray(cv2.convertScaleAbs(own.reshape(len(own), -1), alpha=255)).reshape(own.shape)
            rows, columns = _each(tile.inner, 2)
            # four values of each place at half size are its four pixels
            share[rows, :, columns] = as_bytes[:4].reshape(2, 2, *own.shape[1:]).transpose(2, 0, 3, 1)
            rest[:, rows, columns] = as_bytes[4:]

        with self._turn:
            begun = in_parallel(begin, _tiles(*padded.shape[:2]))
            (coarse,) = self._far.run(["coarse"], {"fine": fine})
            in_parallel(end, begun)
        contact, board = rest[:, : (height + 1) // 2, : (width + 1) // 2]
        return Maps(np.ascontiguousarray(share.reshape(2 * tall, 2 * wide)[:height, :width]), contact, board)


def network_input(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """A picture, uint8 (height, width, 3), as the network reads it: float32 (1, 3, height, width)."""
    return np.asarray(cv2.dnn.blobFromImage(rgb, 1 / _SPREAD, mean=(_MEAN, _MEAN, _MEAN)), np.float32)


def _shipped() -> Traversable:
    return resources.files("grader.coverage").joinpath("weights")


def _session(weights: bytes, threads: int, *, in_bytes: bool = True) -> Any:
    """A part of the network, ready to run. ONNX Runtime is imported here, as most commands do not need it.

    Args:
        weights: contents of the file.
        threads: to run it on.
        in_bytes: whether products of whole numbers may be computed as such.
    """
    import onnxruntime

    _share_memory()
    options = onnxruntime.SessionOptions()
    options.add_session_config_entry("session.use_env_allocators", "1")
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    # Threads that spin while they wait for work would take the processor from the rest of the measurement.
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    options.add_session_config_entry("session.disable_quant_qdq", "0" if in_bytes else "1")
    options.enable_mem_pattern = False  # pictures have many sizes: a plan for each would take memory for each
    options.log_severity_level = 3  # errors; its warnings are about the machine, not about the photo
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])


@functools.cache
def _share_memory() -> None:
    """Once per process: share one pool of memory between all parts, as they run in turn; this halves their peak.

    Also limit the heaps for the threads of the measurement: each keeps what was freed in it, up to 80 MB for a
    phone's photo.
    """
    import onnxruntime

    with suppress(OSError, AttributeError, TypeError):  # only glibc has such heaps, and this function
        ctypes.CDLL(None).mallopt(_ARENA_MAX, _HEAPS)
    kind = onnxruntime.OrtAllocatorType.ORT_ARENA_ALLOCATOR
    cpu = onnxruntime.OrtMemoryInfo("Cpu", kind, 0, onnxruntime.OrtMemType.DEFAULT)
    onnxruntime.create_and_register_allocator(cpu, onnxruntime.OrtArenaCfg(0, -1, -1, -1))


def _tiles(height: int, width: int) -> list[_Tile]:
    """Tiles of about the same size that together fill a picture whose sides are multiples of the stride."""
    spans = [_spans(n) for n in (height, width)]
    return [
        _Tile((rows, columns), (_wider(rows, height), _wider(columns, width)))
        for rows, columns in itertools.product(*spans)
    ]


def _spans(length: int) -> list[slice]:
    parts = max(1, round(length / _TILE_PX))
    ends = [round(length * k / parts / 4) * 4 for k in range(parts + 1)]
    return [slice(a, b) for a, b in itertools.pairwise(ends)]


def _wider(span: slice, length: int) -> slice:
    return slice(max(span.start - _BEYOND_PX, 0), min(span.stop + _BEYOND_PX, length))


def _each(rectangle: PixelBox, per_px: int) -> PixelBox:
    """A rectangle of a picture in a map that has one value for each ``per_px`` pixels."""
    rows, columns = (slice(s.start // per_px, s.stop // per_px) for s in rectangle)
    return rows, columns


def _block_px(height: int, width: int) -> tuple[int, int]:
    """Height and width of equal blocks, multiples of the stride, small enough for one pass, with least overlap."""
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
