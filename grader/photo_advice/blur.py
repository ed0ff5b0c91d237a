"""How far edges are blurred, from the picture alone.

At the middle of a step edge that is blurred by a Gaussian of standard deviation s, the gradient falls by the factor
R = √(1 + s₀²/s²) when the picture is blurred once more by s₀; so s = s₀ / √(R² - 1). Zhuo and Sim, "Defocus map
estimation from a single image", Pattern Recognition 44 (2011); from memory.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

# full width at half maximum of a Gaussian, in standard deviations: 2 √(2 ln 2)
FWHM = 2.0 * float(np.sqrt(2.0 * np.log(2.0)))

# Wide edges are measured in a smaller picture, where noise has averaged out; narrow ones in a larger one.
_SECOND_BLUR_PX, _NARROWEST_PX = 1.0, 1.0
_SIZES, _SIDE_LEAST_PX = (8, 4, 2, 1), 16
# the difference of the pixels on either side averages the slope over two pixels: variance of a box of width 2
_OPERATOR_VARIANCE_PX2 = 1 / 3
_EDGES_LEAST = 50
_MARGIN_PX = 32
# of the edges' gradients (Sobel, 8-bit codes), the stronger half is used, and none below this: the rest is noise
_WEAKEST = 40.0
_LEAST_CHANGE = 1.001


def blur_px(rgb: NDArray[np.uint8], where: NDArray[np.bool_] | None = None) -> float | None:
    """Standard deviation of the blur of a picture's edges in px; their median. None if there are too few edges.

    Args:
        rgb: uint8 (height, width, 3).
        where: bool (height, width), the edges that count; None for all.
    """
    rgb, where = _around(rgb, where)
    green = np.ascontiguousarray(rgb[..., 1])
    for size in _SIZES:
        shape = (rgb.shape[1] // size, rgb.shape[0] // size)
        if min(shape) < _SIDE_LEAST_PX:
            continue
        small = green if size == 1 else np.asarray(cv2.resize(green, shape, interpolation=cv2.INTER_AREA))
        here = None if where is None else cv2.resize(where.astype(np.uint8), shape, interpolation=cv2.INTER_AREA) > 0
        found = _blur_at(small.astype(np.float32), here)
        if found is not None and (found >= _NARROWEST_PX or size == _SIZES[-1]):
            # averaging size × size pixels into one has blurred them, too
            return math.sqrt(max((found * size) ** 2 - (size**2 - 1) / 12, 0.0))
    return None


def _around(
    rgb: NDArray[np.uint8], where: NDArray[np.bool_] | None
) -> tuple[NDArray[np.uint8], NDArray[np.bool_] | None]:
    """The part of the picture that counts, with a margin for the filters."""
    if where is None or not where.any():
        return rgb, where
    spans = []
    for axis in (1, 0):
        there = np.flatnonzero(where.any(axis=axis))
        spans.append(slice(max(int(there[0]) - _MARGIN_PX, 0), int(there[-1]) + _MARGIN_PX + 1))
    return rgb[spans[0], spans[1]], where[spans[0], spans[1]]


def _blur_at(grey: NDArray[np.float32], where: NDArray[np.bool_] | None) -> float | None:
    before, _ = _gradient(grey)
    after, is_across = _gradient(cv2.GaussianBlur(grey, (0, 0), _SECOND_BLUR_PX))
    peak = _ridge(after, is_across)
    if where is not None:
        peak &= where
    if not peak.any():
        return None
    peak &= after > max(float(np.median(after[peak])), _WEAKEST)
    ratio = before[peak] / after[peak]
    ratio = ratio[ratio > _LEAST_CHANGE]
    if len(ratio) < _EDGES_LEAST:
        return None
    squared = float(np.median(_SECOND_BLUR_PX**2 / (ratio**2 - 1)))
    return math.sqrt(max(squared - _OPERATOR_VARIANCE_PX2, 0.0))


def _gradient(grey: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Size of the gradient, and whether it runs more across than down."""
    across = cv2.Sobel(grey, cv2.CV_32F, 1, 0, ksize=3)
    down = cv2.Sobel(grey, cv2.CV_32F, 0, 1, ksize=3)
    return np.asarray(cv2.magnitude(across, down), np.float32), np.abs(across) > np.abs(down)


def _ridge(size: NDArray[np.float32], is_across: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Where a gradient is no smaller than at the two neighbours in its direction: the middle of an edge."""
    row, column = np.ones((1, 3), np.uint8), np.ones((3, 1), np.uint8)
    most = np.where(is_across, cv2.dilate(size, row), cv2.dilate(size, column))
    return np.asarray(size >= most)
