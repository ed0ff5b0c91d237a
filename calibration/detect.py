"""Detection of a target's corners in a photo: markers in a reduced copy, corners refined in the photo itself.

Inner corners of the chessboard come first: four squares meet there, so that blur and a bright or dark exposure move
both sides alike and the crossing stays in place, unlike a marker's own corner. If few are in sight, the middles of
markers (where their diagonals cross) are used as well: their corners shift too, but evenly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.target import PAPER_MM, Paper, TargetDescription, own_target

# Marker sides shorter than a dozen px cannot be read; a sheet that fills a twelfth of the picture still passes.
_SEARCH_SIDE_PX = 1280
_QUICK_SIDE_PX = 1000
_QUICK_MARKERS_MIN = 2
_ENOUGH_SHARE = 0.8  # of all corners: no closer look is needed
# a marker's perimeter over the picture's longer side: our 15 mm markers in a scene of three quarters of a metre
_QUICK_PERIMETER = 0.08
# share of a square's side, and bounds in px, of half the window in which a corner is refined
_WINDOW_SHARE, _WINDOW_MIN_PX, _WINDOW_MAX_PX = 0.14, 3, 12
_MARKERS_MIN = 2
# places where each of the four squares is checked, as shares of the white rim round a marker
_QUADRANT_REACH = (0.45, 0.75)
# least difference between the darkest white and the brightest black: as a share of that between the extremes, and in
# grey levels
_CONTRAST_SHARE, _CONTRAST_MIN = 0.5, 15


@dataclass(frozen=True, eq=False)
class Corners:
    """Inner corners that were found.

    Attributes:
        ids: int64 (n,), see ``TargetDescription.corners_mm``.
        px: float64 (n, 2).
        markers: number of the board's markers that were read.
        middles_mm: places of those markers' middles on the sheet, float64 (m, 2).
        middles_px: places of these middles in the photo, float64 (m, 2).
    """

    ids: NDArray[np.int64]
    px: FloatArray
    markers: int
    middles_mm: FloatArray = field(default_factory=lambda: np.empty((0, 2)))
    middles_px: FloatArray = field(default_factory=lambda: np.empty((0, 2)))

    def __len__(self) -> int:
        return len(self.ids)


_NONE = Corners(np.empty(0, dtype=np.int64), np.empty((0, 2)), 0)


def find_corners(rgb: NDArray[np.uint8], target: TargetDescription) -> Corners:
    """Inner corners of a target in a photo, uint8 (height, width, 3), to a fraction of a pixel.

    A board with even rows that was drawn the other way round (OpenCV's pattern before 4.6) is recognised even if its
    description says otherwise.
    """
    return _found(cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY), target, _NONE)


def _found(grey: NDArray[np.uint8], target: TargetDescription, found: Corners) -> Corners:
    """Inner corners, searched at more and more pixels until most are found; ``found`` was found before."""
    longest = max(grey.shape)
    for side in dict.fromkeys((min(_SEARCH_SIDE_PX, longest), longest)):
        if len(found) >= _ENOUGH_SHARE * target.corner_count:
            break
        found = max(found, _search(grey, target, side / longest), key=len)
    return found


def find_own_corners(rgb: NDArray[np.uint8]) -> tuple[Paper, Corners] | None:
    """Our own printed target in a photo, and its inner corners; None, quickly, if the photo shows no such target."""
    looked = _quick_look(rgb)
    if looked is None:
        return None
    paper, seen = looked
    grey = cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY)
    return paper, _found(grey, own_target(paper), _corners_by_either_pattern(grey, own_target(paper), seen))


def _quick_look(rgb: NDArray[np.uint8]) -> tuple[Paper, dict[int, FloatArray]] | None:
    """The paper of our own target in a photo, and the rough corners of its markers, each (4, 2), by number."""
    # One in ``step`` pixels of the green channel: rough, but a fraction of the cost of a proper reduction.
    step = max(1, max(rgb.shape[:2]) // _QUICK_SIDE_PX)
    small = cv2.blur(np.ascontiguousarray(rgb[::step, ::step, 1]), (3, 3))
    parameters = cv2.aruco.DetectorParameters()
    parameters.adaptiveThreshWinSizeMin = parameters.adaptiveThreshWinSizeMax = 21
    parameters.minMarkerPerimeterRate = _QUICK_PERIMETER
    targets = [own_target(paper) for paper in PAPER_MM]
    seen = dict(zip(PAPER_MM, _markers(small, targets, np.full(2, step), parameters), strict=True))
    best = max(seen, key=lambda paper: len(seen[paper]))
    return (best, seen[best]) if len(seen[best]) >= _QUICK_MARKERS_MIN else None


def _reduced(image: NDArray[np.uint8], ratio: float) -> NDArray[np.uint8]:
    if ratio >= 1:
        return np.ascontiguousarray(image)
    size = (max(1, round(image.shape[1] * ratio)), max(1, round(image.shape[0] * ratio)))
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA))


def _search(grey: NDArray[np.uint8], target: TargetDescription, ratio: float) -> Corners:
    """Markers in a reduced copy give a rough map of the sheet; the corners it predicts are refined and checked."""
    small = _reduced(grey, ratio)
    zoom = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    (seen,) = _markers(small, [target], zoom, cv2.aruco.DetectorParameters())
    return _corners_by_either_pattern(grey, target, seen)


def _markers(
    picture: NDArray[np.uint8],
    targets: Sequence[TargetDescription],
    zoom: NDArray[np.float64] | NDArray[np.int64],
    parameters: Any,
) -> list[dict[int, FloatArray]]:
    """Corners in the photo of the markers of targets that share a dictionary.

    Only the targets' own markers are searched: most of the time goes into comparisons with a dictionary's entries.

    Args:
        picture: grey, reduced.
        targets: with different numbers.
        zoom: photo's px per px of the picture, (2,).
        parameters: of OpenCV's detector.

    Returns:
        For each target, the corners of its markers, each (4, 2), by number.
    """
    whole = targets[0].marker_dictionary()
    numbers = np.concatenate([target.marker_numbers for target in targets])
    own = cv2.aruco.Dictionary(whole.bytesList[numbers], whole.markerSize, whole.maxCorrectionBits)
    quads, which = cv2.aruco.ArucoDetector(own, parameters).detectMarkers(picture)[:2]
    seen = {
        int(numbers[k]): (np.reshape(quad, (4, 2)) + 0.5) * zoom - 0.5
        for quad, k in zip(quads, np.ravel(which) if which is not None else (), strict=True)
    }
    return [{n: seen[n] for n in target.marker_numbers.tolist() if n in seen} for target in targets]


def _corners_by_either_pattern(
    grey: NDArray[np.uint8], target: TargetDescription, seen: dict[int, FloatArray]
) -> Corners:
    # Only a board with an even number of rows differs between the two patterns.
    patterns = (target.legacy_pattern, not target.legacy_pattern) if target.squares_y % 2 == 0 else (False,)
    candidates = [_corners_by_markers(grey, target, seen, legacy) for legacy in patterns]
    return max(candidates, key=len)


def _corners_by_markers(
    grey: NDArray[np.uint8], target: TargetDescription, seen: dict[int, FloatArray], legacy: bool
) -> Corners:
    board = target.board(legacy)
    shapes = np.asarray(board.getObjPoints(), dtype=np.float64)[:, :, :2] + np.array(target.origin_mm)
    numbers = np.ravel(board.getIds()).tolist()
    places = {number: shape for number, shape in zip(numbers, shapes, strict=True) if number in seen}
    if len(places) < _MARKERS_MIN:
        return Corners(_NONE.ids, _NONE.px, len(places))
    mm = np.concatenate(list(places.values()))
    px = np.concatenate([seen[number] for number in places])
    side = np.median([np.hypot(*(seen[n][1] - seen[n][0])) for n in places]) * target.square_mm / target.marker_mm
    rough, inlier = cv2.findHomography(mm, px, cv2.RANSAC, 0.1 * float(side))
    if rough is None or np.sum(inlier) < 4 * _MARKERS_MIN:
        return Corners(_NONE.ids, _NONE.px, len(places))
    ids = np.arange(target.corner_count, dtype=np.int64)
    corners = Corners(ids, _mapped(rough, target.corners_mm(ids)), len(places))
    corners = _crossings(grey, target, _refined(grey, corners, float(side)), rough, legacy)
    middles_mm, middles_px = _middles(grey, target, places, seen, float(side))
    return replace(corners, middles_mm=middles_mm, middles_px=middles_px)


def _middles(
    grey: NDArray[np.uint8],
    target: TargetDescription,
    places: dict[int, FloatArray],
    seen: dict[int, FloatArray],
    side_px: float,
) -> tuple[FloatArray, FloatArray]:
    """Middles of markers on the sheet (m, 2) and in the photo (m, 2), of those whose corners can be refined."""
    rim = min((target.square_mm - target.marker_mm) / 2, target.marker_mm / 8) / target.square_mm
    window = side_px * rim * 0.8 / _WINDOW_SHARE
    mm, px = [], []
    for number, shape in places.items():
        quad = _refined(grey, Corners(np.arange(4, dtype=np.int64), seen[number], 1), window).px
        if len(quad) == 4:
            mm.append(shape.mean(axis=0))
            px.append(_diagonals_cross(quad))
    return np.reshape(mm, (-1, 2)), np.reshape(px, (-1, 2))


def _diagonals_cross(quad: FloatArray) -> FloatArray:
    first, second = quad[2] - quad[0], quad[3] - quad[1]
    along = np.linalg.solve(np.column_stack([first, -second]), quad[1] - quad[0])
    return np.asarray(quad[0] + along[0] * first)


def _mapped(homography: FloatArray, points: FloatArray) -> FloatArray:
    return np.asarray(cv2.perspectiveTransform(points.reshape(-1, 1, 2), homography).reshape(-1, 2))


def _refined(grey: NDArray[np.uint8], rough: Corners, side_px: float) -> Corners:
    """Corners moved to the point where the four squares meet; those that stray or leave the picture are dropped."""
    half = int(np.clip(round(side_px * _WINDOW_SHARE), _WINDOW_MIN_PX, _WINDOW_MAX_PX))
    height, width = grey.shape
    inside = np.all((rough.px > half + 1) & (rough.px < np.array([width, height]) - half - 2), axis=1)
    if not inside.any():
        return Corners(_NONE.ids, _NONE.px, rough.markers)
    start = rough.px[inside].astype(np.float32).reshape(-1, 1, 2)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-3)
    px = cv2.cornerSubPix(grey, start.copy(), (half, half), (-1, -1), stop).reshape(-1, 2).astype(np.float64)
    near = np.hypot(*(px - start.reshape(-1, 2)).T) < half
    return Corners(rough.ids[inside][near], px[near], rough.markers)


def _crossings(
    grey: NDArray[np.uint8], target: TargetDescription, corners: Corners, rough: FloatArray, legacy: bool
) -> Corners:
    """The corners that really lie between two black and two white squares: things that cover the sheet show none."""
    if not len(corners):
        return corners
    mm = target.corners_mm(corners.ids)
    centre = _mapped(rough, mm)
    reach = np.array(_QUADRANT_REACH)[:, None] * min(
        (target.square_mm - target.marker_mm) / 2, 0.15 * target.square_mm
    )
    levels = []
    for sign in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        offsets = (reach * np.array(sign))[:, None, :]
        places = _mapped(rough, (mm[None] + offsets).reshape(-1, 2)).reshape(len(reach), -1, 2)
        places = (places - centre + corners.px).astype(np.float32)
        levels.append(cv2.remap(grey, places, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).mean(axis=0))
    across = target.squares_x - 1
    odd = (corners.ids % across + corners.ids // across) % 2 == 1
    if legacy and target.squares_y % 2 == 0:
        odd = ~odd
    level = np.array(levels)
    first, second = level[[0, 2]], level[[1, 3]]
    dark, bright = np.where(odd, second, first), np.where(odd, first, second)
    contrast = bright.min(axis=0) - dark.max(axis=0)
    whole = bright.max(axis=0) - dark.min(axis=0)
    crossing = (contrast > _CONTRAST_SHARE * whole) & (whole > 0.5 * np.median(whole)) & (whole > _CONTRAST_MIN)
    return Corners(corners.ids[crossing], corners.px[crossing], corners.markers)
