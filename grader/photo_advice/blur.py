"""How far edges are blurred, from the picture alone.

At the middle of a step edge that is blurred by a Gaussian of standard deviation s, the gradient falls by the factor
R = √(1 + s₀²/s²) when the picture is blurred once more by s₀; so s = s₀ / √(R² - 1). Zhuo and Sim, "Defocus map
estimation from a single image", Pattern Recognition 44 (2011); from memory.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

# full width at half maximum of a Gaussian, in standard deviations: 2 √(2 ln 2)
FWHM = 2.0 * float(np.sqrt(2.0 * np.log(2.0)))

# Edges much wider than the second blur hardly change by it; they are measured again in a picture of half the size.
_SECOND_BLUR_PX, _WIDEST_PX = 1.0, 2.0
_SIZES = (1, 2, 4, 8)
_EDGES_LEAST = 50
_MARGIN_PX = 32
# of the edges' gradients (Sobel, 8-bit codes), the stronger half is used, and none below this: the rest is noise
_WEAKEST = 40.0
_LEAST_CHANGE = 1.001


def blur_px(rgb: NDArray[np.uint8], where: NDArray[np.bool_] | None = None) -> float | None:
    """Standard deviation of the blur of a picture's edges in px; their median. None where there are too few edges.

    Args:
        rgb: uint8 (height, width, 3).
        where: bool (height, width), the edges that count; None for all.
    """
    rgb, where = _around(rgb, where)
    green = np.ascontiguousarray(rgb[..., 1])
    for size in _SIZES:
        shape = (rgb.shape[1] // size, rgb.shape[0] // size)
        if min(shape) < 16:
            break
        small = green if size == 1 else np.asarray(cv2.resize(green, shape, interpolation=cv2.INTER_AREA))
        here = None if where is None else cv2.resize(where.astype(np.uint8), shape, interpolation=cv2.INTER_AREA) > 0
        found = _blur_at(small.astype(np.float32), here)
        if found is not None and (found <= _WIDEST_PX or size == _SIZES[-1]):
            return found * size
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
    before = _gradient(grey)
    after = _gradient(cv2.GaussianBlur(grey, (0, 0), _SECOND_BLUR_PX))
    peak = after >= cv2.dilate(after, np.ones((3, 3)))
    if where is not None:
        peak &= where
    if not peak.any():
        return None
    peak &= after > max(float(np.median(after[peak])), _WEAKEST)
    ratio = before[peak] / after[peak]
    ratio = ratio[ratio > _LEAST_CHANGE]
    if len(ratio) < _EDGES_LEAST:
        return None
    return float(np.median(_SECOND_BLUR_PX / np.sqrt(ratio**2 - 1)))


def _gradient(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    across = cv2.Sobel(grey, cv2.CV_32F, 1, 0, ksize=3)
    down = cv2.Sobel(grey, cv2.CV_32F, 0, 1, ksize=3)
    return np.asarray(cv2.magnitude(across, down), np.float32)
