"""Outlines fine enough to cut by, and boards that lie against each other parted again.

Boards that touch are found as one thing. Where two straight edges meet at an angle, the gap between them ends in a
sharp wedge, which no single board has (notches are blunt). From each wedge the thing is parted along the chord that
leaves the most rectangular parts.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import RefusedError
from grader.measure import Measurement

FloatArray = NDArray[np.float64]

_SMOOTH_MM = 0.6
_SPACING_MM = 3.0  # of the places that a chord may end at
_DEEP_MM = 5.0  # shallower dents are notches or ragged outline
_ARM_MM = 8.0  # of a wedge
_SHARP_DEG = 40.0
_LEAST_MM2 = 200.0
_BETTER = 0.01  # gain in the share of the surrounding rectangles that is filled


def board_outlines_mm(done: Measurement, number: int) -> tuple[FloatArray, ...]:
    """The outlines, each (k, 2) in the plane of the faces, of what was found as one board.

    Raises:
        RefusedError: boards lie against each other and cannot be told apart, or go on beyond the photo.
    """
    scale = done.scale
    if scale is None or number >= len(done.regions.boards):
        return ()
    contour = _contour(done, number)
    height, width = done.photo.rgb.shape[:2]
    x, y = contour.T
    if x.min() <= 1 or y.min() <= 1 or x.max() >= width - 2 or y.max() >= height - 2:
        raise RefusedError(
            "outline-unknown",
            "The board goes on beyond the photo, so that its outline is not known.",
            "Take the photo again with the whole board in it.",
        )
    return tuple(_parted(_spaced(_smooth(scale.plane.to_mm(contour)))))


def _contour(done: Measurement, number: int) -> FloatArray:
    """The fine contour, px, of the mask's piece that has most in common with a found outline."""
    rough = np.round(done.regions.boards[number].outline_px).astype(np.int32).reshape(-1, 1, 2)
    inside = np.zeros(done.photo.rgb.shape[:2], np.uint8)
    cv2.fillPoly(inside, [rough], 1)
    contours, _ = cv2.findContours(done.coverage.board.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    x0, y0, w, h = cv2.boundingRect(rough)

    def shared(contour: NDArray[np.int32]) -> int:
        own = np.zeros((h, w), np.uint8)
        cv2.drawContours(own, [contour - np.array([[[x0, y0]]], np.int32)], -1, 1, cv2.FILLED)
        return int(np.count_nonzero(own & inside[y0 : y0 + h, x0 : x0 + w]))

    best = max(contours, key=shared)
    return np.asarray(best.reshape(-1, 2), np.float64)


def _smooth(points: FloatArray) -> FloatArray:
    poly = cv2.approxPolyDP(points.astype(np.float32).reshape(-1, 1, 2), _SMOOTH_MM, closed=True)
    return np.asarray(poly.reshape(-1, 2), np.float64)


def _spaced(points: FloatArray) -> FloatArray:
    """The corners, with further points between those that are far apart."""
    out = []
    for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
        n = max(1, int(np.hypot(*(b - a)) / _SPACING_MM))
        out.append(a + (b - a) * (np.arange(n) / n)[:, None])
    return np.concatenate(out)


def _parted(points: FloatArray) -> list[FloatArray]:
    wedges = _wedges(points)
    if not wedges:
        return [_smooth(points)]
    best: tuple[float, FloatArray, FloatArray] | None = None
    for i in wedges:
        turned = np.roll(points, -i, axis=0)
        for j in range(2, len(points) - 1):
            one, two = turned[: j + 1], np.concatenate([turned[j:], turned[:1]])
            a, b = _signed(one), _signed(two)
            if a * b <= 0 or min(abs(a), abs(b)) < _LEAST_MM2:
                continue
            filled = (abs(a) + abs(b)) / (_around(one) + _around(two))
            if best is None or filled > best[0]:
                best = (filled, one, two)
    if best is None or best[0] < abs(_signed(points)) / _around(points) + _BETTER:
        raise RefusedError(
            "outline-unknown",
            "Boards lie against each other, and where one ends cannot be told.",
            "Lay the boards a finger's width apart and take the photo again.",
        )
    return [*_parted(best[1]), *_parted(best[2])]


def _wedges(points: FloatArray) -> list[int]:
    """Indices of the ends of deep and sharp gaps."""
    hull = cv2.convexHull(points.astype(np.float32).reshape(-1, 1, 2), returnPoints=False)
    inner = set(range(len(points))) - set(hull.ravel().tolist())
    shell = points[np.sort(hull.ravel())].astype(np.float32).reshape(-1, 1, 2)
    sense = np.sign(_signed(points))
    around = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    arm = max(1, round(_ARM_MM / float(np.mean(around))))
    found = []
    for i in sorted(inner):
        if cv2.pointPolygonTest(shell, (float(points[i, 0]), float(points[i, 1])), measureDist=True) < _DEEP_MM:
            continue
        to_next = points[(i + arm) % len(points)] - points[i]
        to_last = points[i - arm] - points[i]
        turn = to_last[0] * to_next[1] - to_last[1] * to_next[0]
        cosine = float(to_next @ to_last) / (float(np.hypot(*to_next)) * float(np.hypot(*to_last)) or 1.0)
        # the inside lies on the far side of both arms: the angle between them is air
        if turn * sense > 0 and cosine > np.cos(np.radians(_SHARP_DEG)):
            found.append(i)
    return found


def _signed(points: FloatArray) -> float:
    x, y = points.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def _around(points: FloatArray) -> float:
    _, (a, b), _ = cv2.minAreaRect(points.astype(np.float32))
    return float(a * b)
