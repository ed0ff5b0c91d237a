"""A smaller copy of a picture: to look at more quickly, to show or to draw on."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_MOST_LARGER = 1.2  # than a picture: one that it is brought to on the way takes memory


def reduced(rgb: NDArray[np.uint8], max_side_px: int) -> tuple[NDArray[np.uint8], float]:
    """A copy whose longer side has at most so many pixels, and the factor on its coordinates, at most 1.

    Args:
        rgb: uint8 (height, width, 3).
        max_side_px: of the copy.
    """
    k = min(1.0, max_side_px / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * k)), max(1, round(rgb.shape[0] * k)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8), k


def shrunk(rgb: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """A copy of a size that is no larger, each pixel the mean of its place, faster than OpenCV's own.

    OpenCV is quick at exact halves alone. A picture is halved as often as that goes; the last time it is first
    brought to twice its size, unless that would be much larger than the picture is.

    Args:
        rgb: uint8 (height, width, 3).
        size: width and height of the copy.
    """
    while True:
        height, width = rgb.shape[:2]
        if not (height % 2 or width % 2) and 2 * size[0] <= width and 2 * size[1] <= height:
            rgb = np.asarray(cv2.resize(rgb, (width // 2, height // 2), interpolation=cv2.INTER_AREA), np.uint8)
        elif 2 * size[0] < width or 2 * size[0] > _MOST_LARGER * width or size == (width, height):
            return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
        else:
            twice = cv2.resize(rgb, (2 * size[0], 2 * size[1]), interpolation=cv2.INTER_LINEAR)
            return np.asarray(cv2.resize(twice, size, interpolation=cv2.INTER_AREA), np.uint8)
