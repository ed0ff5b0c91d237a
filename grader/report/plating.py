"""The picture that a measurement and its photo give."""

from __future__ import annotations

import cv2
import numpy as np

from calibration.arrays import RgbArray
from grader.measured import Measured
from grader.model import FINISHES
from grader.photo import reduced
from grader.report.hatching import mark_plating
from grader.report.overlay import BOARD_RGB, in_reduced, outline

_QUALITY = 85


def measured_picture(measured: Measured, rgb: RgbArray, max_side_px: int) -> RgbArray:
    """The photo with plating hatched by finish and boards outlined, as its record tells; uint8 (h, w, 3).

    Args:
        measured: of the photo; a record without rings gives outlines alone.
        rgb: the photo that was measured, upright.
        max_side_px: of the longer side.
    """
    small, k = reduced(rgb, max_side_px)
    picture = np.array(small, np.uint8)
    for finish in FINISHES:
        inside = np.zeros(picture.shape[:2], np.uint8)
        rings = [in_reduced(ring, k) for ring in measured.plating_px.get(finish, ())]
        if rings:
            cv2.fillPoly(inside, rings, 255, lineType=cv2.LINE_AA)
        mark_plating(picture, finish, inside)
    for board in measured.boards:
        outline(picture, board.outline_px, k, BOARD_RGB)
    return picture


def picture_jpeg(picture: RgbArray) -> bytes:
    """A picture as JPEG without any of the photo's own data, such as where it was taken."""
    ok, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
