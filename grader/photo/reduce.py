"""Smaller copies of a picture: for faster analysis, to show or to draw on."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_MOST_LARGER = 1.2  # greatest width of an intermediate picture ÷ the picture's, as it takes memory


def reduced(rgb: NDArray[np.uint8], max_side_px: int) -> tuple[NDArray[np.uint8], float]:
    """A copy whose longer side has at most ``max_side_px`` pixels, and the factor on its coordinates, at most 1.

    Args:
        rgb: uint8 (height, width, 3).
        max_side_px: of the copy.
    """
    k = min(1.0, max_side_px / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * k)), max(1, round(rgb.shape[0] * k)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8), k


def shrunk(rgb: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """A copy that is no larger, each pixel the mean over its place, faster than with OpenCV's own reduction.

    OpenCV is fast only at exact halves. A picture is halved as often as possible; before the last halving it is
    resized to twice the copy's size, unless that would be much larger than the picture.

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
