"""What a round brush sweeps over or a polygon holds, at sixteen points of each pixel.

Each pixel has a grid of 4 × 4 points; a stroke holds each of them or does not. So strokes can be laid over, taken
away and repeated exactly (painting in, then out with the same stroke leaves nothing, and twice is once), and the edge
is soft all the same: the share of a pixel that is painted is the share of its points.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.corrections import FilledIn, FilledOut, Point, Stroke

FINE = 4  # points along each side of a pixel; their bits fill a uint16
_REACH_PX = 256.0  # longest piece of a path drawn at once, which bounds the memory
_TILE_PX = 512  # a polygon is filled in squares of this size, for the same reason
_KEPT = 64  # strokes; those of a narrow brush hold about 100 kB each
_SHIFT = 6  # fractional bits of the drawing routine's coordinates

Bits = NDArray[np.uint16]


@dataclass(frozen=True, eq=False)
class Patch:
    """A part of a stroke.

    Attributes:
        where: rows and columns of the photo that it covers.
        bits: uint16, of the size of ``where``: the points of each pixel that the brush went over.
    """

    where: tuple[slice, slice]
    bits: Bits


@functools.lru_cache(maxsize=_KEPT)
def patches(stroke: Stroke, shape: tuple[int, int]) -> tuple[Patch, ...]:
    """A stroke in parts that may overlap; parts outside the photo are left out.

    While a person paints, the same strokes come again and again with one more at the end: the last ones are kept.

    Args:
        stroke: path and radius, or corners.
        shape: of the photo, (height, width).
    """
    if isinstance(stroke, FilledIn | FilledOut):
        return tuple(_filled(np.array(stroke.corners_px), shape))
    drawn = (_draw(np.array(piece), stroke.radius_px, shape) for piece in _pieces(stroke.path_px))
    return tuple(patch for patch in drawn if patch is not None)


def bounds(stroke: Stroke, shape: tuple[int, int]) -> tuple[slice, slice] | None:
    """Rows and columns that a stroke may touch; None if it lies outside the photo."""
    if isinstance(stroke, FilledIn | FilledOut):
        return _box(np.array(stroke.corners_px), 0.0, shape)
    return _box(np.array(stroke.path_px), stroke.radius_px, shape)


def _pieces(path: tuple[Point, ...]) -> Iterator[list[Point]]:
    """The path cut into pieces of bounded reach, each beginning where the last one ended."""
    piece = [path[0]]
    for point in path[1:]:
        last = piece[-1]
        steps = max(1, int(np.ceil(np.hypot(point[0] - last[0], point[1] - last[1]) / _REACH_PX)))
        for i in range(1, steps + 1):
            between = tuple(a + (b - a) * i / steps for a, b in zip(last, point, strict=True))
            if max(abs(between[0] - piece[0][0]), abs(between[1] - piece[0][1])) > _REACH_PX:
                yield piece
                piece = [piece[-1]]
            piece.append((between[0], between[1]))
    yield piece


def _box(path: NDArray[np.float64], radius: float, shape: tuple[int, int]) -> tuple[slice, slice] | None:
    x0, y0 = np.maximum(np.floor(path.min(axis=0) - radius).astype(int), 0)
    x1, y1 = np.minimum(np.ceil(path.max(axis=0) + radius).astype(int) + 1, [shape[1], shape[0]])
    if x0 >= x1 or y0 >= y1:
        return None
    return slice(int(y0), int(y1)), slice(int(x0), int(x1))


def _draw(path: NDArray[np.float64], radius: float, shape: tuple[int, int]) -> Patch | None:
    where = _box(path, radius, shape)
    if where is None:
        return None
    rows, columns = where
    height, width = rows.stop - rows.start, columns.stop - columns.start
    # fine points lie at (i + 0.5) / FINE - 0.5 about a pixel's middle
    fine = (path - [columns.start, rows.start] + 0.5) * FINE - 0.5
    canvas = np.zeros((height * FINE, width * FINE), np.uint8)
    _sweep(canvas, fine, radius * FINE)
    return Patch(where, _bits(canvas))


def _bits(canvas: NDArray[np.uint8]) -> Bits:
    """Fine points, 0 or 1, as bits of the pixels that they lie in."""
    bits = np.zeros((canvas.shape[0] // FINE, canvas.shape[1] // FINE), np.uint16)
    for i in range(FINE):
        for j in range(FINE):
            bits |= canvas[i::FINE, j::FINE].astype(np.uint16) << np.uint16(FINE * i + j)
    return bits


def _filled(corners: NDArray[np.float64], shape: tuple[int, int]) -> Iterator[Patch]:
    """A polygon in squares: a fine point is inside if a line from it to the left crosses an odd number of sides."""
    whole = _box(corners, 0.0, shape)
    if whole is None:
        return
    rows, columns = whole
    for top in range(rows.start, rows.stop, _TILE_PX):
        for left in range(columns.start, columns.stop, _TILE_PX):
            where = (slice(top, min(top + _TILE_PX, rows.stop)), slice(left, min(left + _TILE_PX, columns.stop)))
            size = tuple((s.stop - s.start) * FINE for s in where)
            inside = _inside((corners - [left, top] + 0.5) * FINE - 0.5, (size[0], size[1]))
            if inside.any():
                yield Patch(where, _bits(inside))


def _inside(corners: NDArray[np.float64], size: tuple[int, int]) -> NDArray[np.uint8]:
    """1 at the whole places (height, width) that lie in a polygon, otherwise 0."""
    height, width = size
    crossed = np.zeros((height, width + 1), np.int32)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        (x0, y0), (x1, y1) = (start, end) if start[1] <= end[1] else (end, start)
        first, last = max(math.ceil(y0), 0), min(math.ceil(y1), height)
        if first >= last:
            continue
        down = np.arange(first, last)
        across = np.ceil(x0 + (down - y0) * (x1 - x0) / (y1 - y0))
        np.add.at(crossed, (down, np.clip(across, 0, width).astype(np.int64)), 1)
    return np.asarray(np.cumsum(crossed, axis=1)[:, :width] % 2, np.uint8)


def _sweep(canvas: NDArray[np.uint8], path: NDArray[np.float64], radius: float) -> None:
    """Sets to 1 what a disc along a path covers: a disc at each place, a rectangle between two."""
    # a filled outline takes in the pixels that it runs through: half a fine pixel all round
    inner = max(radius - 0.5, 0.0)
    whole = 1 << _SHIFT
    fixed = np.round(path * whole).astype(np.int32)
    for x, y in fixed[[0, -1]]:
        _disc(canvas, (x / whole, y / whole), radius)
    for x, y in fixed[1:-1].tolist():  # bends need less care than ends: rectangles cover most of them
        cv2.circle(canvas, (x, y), round(inner * whole), 1, cv2.FILLED, cv2.LINE_8, _SHIFT)
    for start, end in pairwise(path):
        along = end - start
        length = float(np.hypot(*along))
        if length == 0:
            continue
        side = np.array([-along[1], along[0]]) / length * inner
        corners = np.round(np.array([start + side, end + side, end - side, start - side]) * whole).astype(np.int32)
        cv2.fillConvexPoly(canvas, corners.reshape(-1, 1, 2), 1, cv2.LINE_8, _SHIFT)


def _disc(canvas: NDArray[np.uint8], centre: tuple[float, float], radius: float) -> None:
    x0, y0 = (max(0, int(np.floor(c - radius))) for c in centre)
    x1, y1 = (min(n, int(np.ceil(c + radius)) + 1) for c, n in zip(centre, canvas.shape[::-1], strict=True))
    if x0 >= x1 or y0 >= y1:
        return
    across = (np.arange(x0, x1) - centre[0]) ** 2
    down = (np.arange(y0, y1) - centre[1]) ** 2
    canvas[y0:y1, x0:x1] |= (across[None] + down[:, None] <= radius**2).astype(np.uint8)
