"""The photo with numbered frames round the places that a person is asked about."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from grader.photo import reduced
from grader.pipeline import Measurement
from grader.report.overlay import BOARD_RGB, outline, png

_MAX_SIDE_PX = 1600
_DARK = (20, 20, 20)


def unsure_png(measurement: Measurement, boxes_px: Sequence[tuple[int, int, int, int]]) -> bytes:
    """PNG of the photo with frames round places, numbered from 1.

    Args:
        measurement: of the photo.
        boxes_px: left, top, right and bottom of each place.
    """
    small, k = reduced(measurement.photo.rgb, _MAX_SIDE_PX)
    out = np.array(small, np.uint8)
    for number, (left, top, right, bottom) in enumerate(boxes_px, 1):
        corners = [(left, top), (right - 1, top), (right - 1, bottom - 1), (left, bottom - 1)]
        outline(out, corners, k, BOARD_RGB)
        at = (int(left * k) + 4, max(int(top * k) - 6, 22))
        for colour, thickness in ((_DARK, 5), (BOARD_RGB, 2)):
            cv2.putText(out, str(number), at, cv2.FONT_HERSHEY_SIMPLEX, 0.8, colour, thickness, cv2.LINE_AA)
    return png(np.ascontiguousarray(out[..., ::-1]))
