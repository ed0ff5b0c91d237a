"""Printed targets that give their photo no scale: pieces of them that the search took for boards are not boards."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.target import PAPER_MM, own_target
from grader.listing.looks import Look
from grader.photo import Photo
from grader.scale_choice import ByTarget, ScaleChoice

_MARKERS = 1  # markers of the sheet's own dictionary that an outline must hold to be a part of the sheet


def without_targets(looks: Sequence[Look], photo: Photo, choice: ScaleChoice) -> list[Look]:
    """Looks of one photo without those at a piece of the printed target."""
    middles = _markers(photo.rgb, choice)
    return [look for look in looks if sum(_holds(look, at) for at in middles) < _MARKERS]


def _markers(rgb: NDArray[np.uint8], choice: ScaleChoice) -> list[tuple[float, float]]:
    target = choice.target if isinstance(choice, ByTarget) else own_target(next(iter(PAPER_MM)))
    number = getattr(cv2.aruco, target.dictionary)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(number), cv2.aruco.DetectorParameters())
    found, _, _ = detector.detectMarkers(cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY))
    return [(float(x), float(y)) for x, y in (quad.reshape(4, 2).mean(0) for quad in found)]


def _holds(look: Look, at: tuple[float, float]) -> bool:
    return bool(cv2.pointPolygonTest(look.outline_px.astype(np.float32), at, measureDist=False) >= 0)
