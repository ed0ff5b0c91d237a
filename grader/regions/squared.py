"""A rectangular board with its bumps removed and its corners restored.

In places, the map that outlines come from takes shadow or table beside a board for board, and it loses corners. Where
a rectangle is nearly all of a piece, and the photo shows its sides also along the bumps and missing corners, bumps
are cut off and corners are filled, as long as they are small. A long strip beside the rectangle is board beyond
contacts that were taken for a side, or an edge connector; notches in its sides are not corners.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.regions.edges import Lines
from grader.regions.plan_view import PlanView
from grader.regions.rectangles import Rectangle

# Chosen on renders of boards that lie alone.
_LEAST_SHARED = 0.93  # of the piece, and of the rectangle
_LEAST_MM2, _MOST_MM2 = 6.0, 80.0  # of one bump or corner; a round corner of 5 mm lacks 5 mm2
_CORNER_MM = 1.0  # from a corner, for something missing to be that corner
_BESIDE_MM = 1.0  # from a bump or missing corner to the part of a side that decides
_MOST_OF_A_SIDE = 0.4  # for that part
_LEAST_SAMPLES, _LEAST_SEEN = 3, 0.6  # of that part: how much of it the photo must show


def squared(piece: NDArray[np.bool_], rectangle: Rectangle, lines: Lines, view: PlanView) -> NDArray[np.bool_]:
    """A piece of a view, bool (height, width), made more like its rectangle; unchanged where they differ too much."""
    shared = np.count_nonzero(piece & rectangle.mask)
    if shared < _LEAST_SHARED * max(np.count_nonzero(piece), np.count_nonzero(rectangle.mask)):
        return piece
    corners = np.zeros(piece.shape, np.uint8)
    for x, y in np.round(rectangle.corners_mm * view.px_per_mm).astype(int).tolist():
        cv2.circle(corners, (x, y), round(_CORNER_MM * view.px_per_mm), 1, cv2.FILLED)
    out = piece.copy()
    for bump in _small(piece & ~rectangle.mask, view):
        if _is_spot(bump, rectangle, lines, view):
            out &= ~bump
    for gap in _small(rectangle.mask & ~piece, view):
        if np.any(gap & (corners > 0)) and _is_spot(gap, rectangle, lines, view):
            out |= gap
    return out


def _small(mask: NDArray[np.bool_], view: PlanView) -> list[NDArray[np.bool_]]:
    """The connected parts of a mask that have the size of bumps and corners."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=4)
    size_mm2 = stats[1:, cv2.CC_STAT_AREA] / view.px_per_mm**2
    return [labels == i + 1 for i in np.flatnonzero((size_mm2 >= _LEAST_MM2) & (size_mm2 <= _MOST_MM2))]


def _is_spot(spot: NDArray[np.bool_], rectangle: Rectangle, lines: Lines, view: PlanView) -> bool:
    """Whether a spot lies along only a part of each of a rectangle's sides, and the photo shows that part."""
    reach = 2 * round(_BESIDE_MM * view.px_per_mm) + 1
    beside = lines.look_up(view, cv2.dilate(spot.astype(np.uint8), np.ones((reach, reach), np.uint8)) > 0)
    own = [(beside[line, start:end], lines.edge[line, start:end]) for line, start, end in rectangle.sides]
    if any(at.mean() > _MOST_OF_A_SIDE for at, _ in own if len(at)):
        return False
    seen = np.concatenate([edge[at] for at, edge in own])
    return len(seen) >= _LEAST_SAMPLES and float(seen.mean()) > _LEAST_SEEN
