"""The picture that a measurement and its photo give."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finishes import FINISH_RGB
from grader.measured import Measured
from grader.model import FINISHES
from grader.photo import reduced
from grader.report.overlay import BOARD_RGB, STRENGTH, in_reduced, outline

Picture = NDArray[np.uint8]

_QUALITY = 85


def measured_picture(measured: Measured, rgb: Picture, max_side_px: int) -> Picture:
    """The photo with plating coloured by finish and boards outlined, as its record tells; uint8 (h, w, 3).

    Args:
        measured: of the photo; a record without rings gives outlines alone.
        rgb: the photo that was measured, upright.
        max_side_px: of the longer side.
    """
    small, k = reduced(rgb, max_side_px)
    out = small.astype(np.float32)
    for finish in FINISHES:
        rings = [in_reduced(ring, k) for ring in measured.plating_px.get(finish, ())]
        inside = np.zeros(out.shape[:2], np.uint8)
        if rings:
            cv2.fillPoly(inside, rings, 255, lineType=cv2.LINE_AA)
        alpha = inside.astype(np.float32)[..., None] / 255 * STRENGTH
        out += alpha * (np.array(FINISH_RGB[finish], np.float32) - out)
    picture = np.ascontiguousarray(np.round(out).astype(np.uint8))
    for board in measured.boards:
        outline(picture, board.outline_px, k, BOARD_RGB)
    return picture


def picture_jpeg(picture: Picture) -> bytes:
    """A picture as JPEG without any of the photo's own data, such as where it was taken."""
    ok, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
