"""The part of a photo that has any plating: a few per cent of it, so that work on the rest is saved."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def around_plating(picture: NDArray[np.uint8], margin_px: int = 0) -> tuple[slice, slice]:
    """Rows and columns of a picture (height, width) around all non-zero pixels, with a margin; empty if all are 0."""
    left, top, width, height = cv2.boundingRect(picture)
    if not width:
        return slice(0, 0), slice(0, 0)
    return (
        slice(max(top - margin_px, 0), top + height + margin_px),
        slice(max(left - margin_px, 0), left + width + margin_px),
    )
