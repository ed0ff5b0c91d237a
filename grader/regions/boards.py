"""Outlines of boards from the mask of what lies on the table."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.scale import Scale
from grader.regions.model import Board

_LEAST_MM2 = 100.0
_LEAST_SHARE = 0.004  # of the frame, without scale
_SMOOTH = 0.004  # of the outline's length
_FRAME_SHARE = 0.9  # a "board" that fills the frame is no outline but a close-up


def find_boards(mask: NDArray[np.bool_], scale: Scale | None) -> tuple[Board, ...]:
    """Outlines, largest first.

    Args:
        mask: bool (height, width).
        scale: for areas in mm²; None gives px².
    """
    contours, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    boards = []
    for contour in contours:
        if len(contour) < 4:
            continue
        outline = cv2.approxPolyDP(contour, _SMOOTH * cv2.arcLength(contour, closed=True), closed=True)
        points = outline.reshape(-1, 2).astype(np.float64)
        if len(points) < 3:
            continue
        area = polygon_area(scale.plane.to_mm(points) if scale else points)
        if area >= (_LEAST_MM2 if scale else _LEAST_SHARE * mask.size):
            boards.append(Board(points, area))
    return tuple(sorted(boards, key=lambda b: -b.area))


def polygon_area(points: NDArray[np.float64]) -> float:
    """Area of a simple polygon (k, 2), by the shoelace formula."""
    x, y = points.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def edge_distance(mask: NDArray[np.bool_]) -> NDArray[np.float32] | None:
    """For each pixel the distance in px from the nearest place that is no board, or None where boards fill the frame.

    The frame's own border counts as board going on.
    """
    share = float(mask.mean())
    if share == 0 or share > _FRAME_SHARE:
        return None
    return np.asarray(cv2.distanceTransform(mask.astype(np.uint8), cv2.DIST_L2, 5), np.float32)


def board_of(centre_px: NDArray[np.float64], boards: tuple[Board, ...]) -> int | None:
    """Index of the smallest board that holds a point, or None."""
    x, y = float(centre_px[0]), float(centre_px[1])
    inside = [
        i
        for i, board in enumerate(boards)
        if cv2.pointPolygonTest(board.outline_px.astype(np.float32).reshape(-1, 1, 2), (x, y), measureDist=False) >= 0
    ]
    return inside[-1] if inside else None
