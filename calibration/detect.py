"""Finding a target's corners in a photo: markers in a reduced copy, corners refined in the photo itself.

Only inner corners of the chessboard are used: four squares meet there, so that blur and a bright or dark exposure
move both sides alike and the crossing stays in place, which a marker's own corner does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.target import OWN_DICTIONARY, PAPER_MM, Paper, TargetDescription, own_target

FloatArray = NDArray[np.float64]

# Marker sides shorter than a dozen px cannot be read; a sheet that fills a twelfth of the picture still passes.
_SEARCH_SIDE_PX = 1600
_QUICK_SIDE_PX = 1000
_QUICK_MARKERS_MIN = 2
# share of a square's side, and bounds in px, of half the window in which a corner is refined
_WINDOW_SHARE, _WINDOW_MIN_PX, _WINDOW_MAX_PX = 0.14, 3, 12


@dataclass(frozen=True, eq=False)
class Corners:
    """Inner corners that were found.

    Attributes:
        ids: int64 (n,), see ``TargetDescription.corners_mm``.
        px: float64 (n, 2).
        markers: how many of the board's markers were read.
    """

    ids: NDArray[np.int64]
    px: FloatArray
    markers: int

    def __len__(self) -> int:
        return len(self.ids)


_NONE = Corners(np.empty(0, dtype=np.int64), np.empty((0, 2)), 0)


def find_corners(rgb: NDArray[np.uint8], target: TargetDescription) -> Corners:
    """Inner corners of a target in a photo, uint8 (height, width, 3), to a fraction of a pixel.

    A board with even rows that was drawn the other way round (OpenCV's pattern before 4.6) is recognised whatever
    its description says.
    """
    grey = cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY)
    found = _NONE
    longest = max(grey.shape)
    for side in dict.fromkeys((min(_SEARCH_SIDE_PX, longest), longest)):
        found = max(found, _search(grey, target, side / longest), key=len)
        if len(found) >= 0.8 * target.corner_count:
            break
    return found


def find_own_paper(rgb: NDArray[np.uint8]) -> Paper | None:
    """Which of our own printed targets a photo shows, or None; quick."""
    ratio = min(1.0, _QUICK_SIDE_PX / max(rgb.shape[:2]))
    small = cv2.cvtColor(_reduced(rgb, ratio), cv2.COLOR_RGB2GRAY)
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = 21
    parameters.minMarkerPerimeterRate = 0.05
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, OWN_DICTIONARY))
    ids = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(small)[1]
    if ids is None:
        return None
    seen: dict[Paper, int] = {}
    for paper in PAPER_MM:
        target = own_target(paper)
        numbers = np.unique(np.ravel(ids)) - target.first_id
        seen[paper] = int(np.sum((numbers >= 0) & (numbers < target.marker_count)))
    best = max(seen, key=lambda paper: seen[paper])
    return best if seen[best] >= _QUICK_MARKERS_MIN else None


def _reduced(image: NDArray[np.uint8], ratio: float) -> NDArray[np.uint8]:
    if ratio >= 1:
        return np.ascontiguousarray(image)
    size = (max(1, round(image.shape[1] * ratio)), max(1, round(image.shape[0] * ratio)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA))


def _search(grey: NDArray[np.uint8], target: TargetDescription, ratio: float) -> Corners:
    small = _reduced(grey, ratio)
    # Only a board with an even number of rows differs between the two patterns.
    patterns = (target.legacy_pattern, not target.legacy_pattern) if target.squares_y % 2 == 0 else (False,)
    best, best_legacy = _NONE, False
    for legacy in patterns:
        found = _detect(small, target, legacy)
        if len(found) > len(best):
            best, best_legacy = found, legacy
        if len(best) >= 0.5 * target.corner_count or found.markers < 2:
            break
    if not len(best):
        return best
    zoom = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    rough = (best.px + 0.5) * zoom - 0.5
    return _refined(grey, target, Corners(best.ids, rough, best.markers), best_legacy)


def _detect(small: NDArray[np.uint8], target: TargetDescription, legacy: bool) -> Corners:
    detector = cv2.aruco.CharucoDetector(target.board(legacy))
    px, ids, _, marker_ids = detector.detectBoard(small)
    markers = 0 if marker_ids is None else int(np.size(marker_ids))
    if ids is None or not np.size(ids):
        return Corners(_NONE.ids, _NONE.px, markers)
    return Corners(np.ravel(ids).astype(np.int64), np.reshape(px, (-1, 2)).astype(np.float64), markers)


def _refined(grey: NDArray[np.uint8], target: TargetDescription, rough: Corners, legacy: bool) -> Corners:
    """Corners moved to where the four squares meet; those that run away or leave the picture are dropped."""
    del legacy
    side = _square_px(target, rough)
    half = int(np.clip(round(side * _WINDOW_SHARE), _WINDOW_MIN_PX, _WINDOW_MAX_PX))
    height, width = grey.shape
    inside = np.all((rough.px > half + 1) & (rough.px < np.array([width, height]) - half - 2), axis=1)
    if not inside.any():
        return Corners(_NONE.ids, _NONE.px, rough.markers)
    start = rough.px[inside].astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-3)
    px = cv2.cornerSubPix(grey, start.copy(), (half, half), (-1, -1), stop).reshape(-1, 2).astype(np.float64)
    near = np.hypot(*(px - start.reshape(-1, 2)).T) < half
    return Corners(rough.ids[inside][near], px[near], rough.markers)


def _square_px(target: TargetDescription, corners: Corners) -> float:
    """Length in px of a square's shorter side, from neighbours (or, without any, from the corners' spread)."""
    place = dict(zip(corners.ids.tolist(), corners.px, strict=True))
    across = target.squares_x - 1
    sides = [
        float(np.hypot(*(place[i] - place[j])))
        for i in place
        for j in (i + 1, i + across)
        if j in place and (j != i + 1 or j % across)
    ]
    if sides:
        return float(np.percentile(sides, 10))
    return float(np.ptp(corners.px)) / max(target.squares_x, target.squares_y)
