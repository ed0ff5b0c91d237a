"""Outlines to cut by: those of boards that lie wholly in sight."""

from __future__ import annotations

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import RefusedError
from calibration.scale import Scale
from grader.pipeline import Measurement


def board_outline_mm(done: Measurement, scale: Scale, number: int) -> FloatArray:
    """The outline (k, 2), in the plane of the faces, of a board.

    Args:
        done: measured.
        scale: its scale.
        number: index of the board.

    Raises:
        RefusedError: another board lies on it, or it goes on beyond the photo.
    """
    board = done.regions.boards[number]
    height, width = done.photo.rgb.shape[:2]
    x, y = board.outline_px.T
    if x.min() <= 1 or y.min() <= 1 or x.max() >= width - 2 or y.max() >= height - 2:
        raise RefusedError(
            "outline-unknown",
            "The board extends beyond the photo, so its outline is not known.",
            "Take the photo again with the whole board in it.",
        )
    if board.hidden:
        raise RefusedError(
            "outline-unknown",
            "Another board covers part of this one, so its outline is not known.",
            "Lay the boards side by side and take the photo again.",
        )
    return np.asarray(scale.plane.to_mm(board.outline_px))
