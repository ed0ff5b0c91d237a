"""A smaller copy of a picture, to show or to draw on."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def reduced(rgb: NDArray[np.uint8], max_side_px: int) -> tuple[NDArray[np.uint8], float]:
    """A copy whose longer side has at most so many pixels, and the factor on its coordinates, at most 1.

    Args:
        rgb: uint8 (height, width, 3).
        max_side_px: of the copy.
    """
    k = min(1.0, max_side_px / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * k)), max(1, round(rgb.shape[0] * k)))
    return np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8), k
