"""How plating is marked on a picture so that it shows on gold: thinly tinted, hatched and outlined by finish.

The hatch of each finish is the one that the page's picture bears; a white line always has a dark one beside it, so
that it shows on bright metal and on dark board.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finishes import FINISH_HATCH, FINISH_RGB, Finish, Hatch

TINT = 0.35  # enough to name the colour, while the metal below still shows
_PITCH = 8
_WHITE, _DARK = (255, 255, 255), (20, 20, 20)
_CROSS = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))

Grid = NDArray[np.int64]
# Distance from the hatch's line in px, by row and column of a picture: 0 on it, 1 beside it.
_LINES: Mapping[Hatch, Callable[[Grid, Grid], Grid]] = {
    "lines": lambda y, x: (x + y) % _PITCH,
    "dots": lambda y, x: np.maximum(abs(y % 6 - 2), abs(x % 6 - 2)),
    "crosses": lambda y, x: np.minimum(y % _PITCH, x % _PITCH),
    "rungs": lambda y, x: (y + 0 * x) % (_PITCH // 2 + 1),
    "waves": lambda y, x: (y + np.rint(1.5 * np.sin(x * (2 * np.pi / _PITCH))).astype(np.int64)) % 6,
}


def mark_plating(picture: NDArray[np.uint8], finish: Finish, share: NDArray[np.uint8]) -> None:
    """Mark what is plated with one finish.

    Args:
        picture: uint8 (h, w, 3), changed in place.
        finish: which.
        share: uint8 (h, w), how much of each pixel is plated; 255 = all of it.
    """
    if not share.any():
        return
    alpha = share.astype(np.float32)[..., None] / 255
    colour = np.array(FINISH_RGB[finish], np.float32)
    out = picture + TINT * alpha * (colour - picture)
    far = _LINES[FINISH_HATCH[finish]](*np.indices(share.shape, dtype=np.int64))
    for distance, line in ((1, _DARK), (0, _WHITE)):
        there = (far == distance)[..., None] * alpha
        out += 0.9 * there * (np.array(line, np.float32) - out)
    mask = (share > 127).astype(np.uint8)
    rim = (cv2.dilate(mask, _CROSS) > 0) & (mask == 0)
    out[rim] = colour
    picture[...] = np.round(out).astype(np.uint8)
