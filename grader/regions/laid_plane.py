"""The plane of the faces with axes that run the same way over the boards, however the photo was turned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane
from grader.coverage.way_round import way_round
from grader.photo import shrunk

_SMALL_PX = 256  # longest side of the picture from which the orientation is found


@dataclass(frozen=True, eq=False)
class LaidPlane:
    """A plane with its axes turned, or mirrored.

    Attributes:
        photo_plane: the plane.
        axes: float64 (2, 2), orthonormal: the new axes, one a row.
    """

    photo_plane: FacePlane
    axes: FloatArray

    def to_mm(self, xy_px: FloatArray) -> FloatArray:
        """Photo points (n, 2) in px → face points (n, 2) in mm."""
        return np.asarray(self.photo_plane.to_mm(xy_px) @ self.axes.T)

    def to_px(self, xy_mm: FloatArray) -> FloatArray:
        """The inverse of ``to_mm``."""
        return self.photo_plane.to_px(np.asarray(xy_mm @ self.axes, np.float64))

    def pixel_area_mm2(self, xy_px: FloatArray) -> FloatArray:
        """Area in mm² of a one-pixel square around each photo point, (n, 2) → (n,)."""
        return self.photo_plane.pixel_area_mm2(xy_px)


def laid_plane(plane: FacePlane, rgb: NDArray[np.uint8]) -> LaidPlane:
    """The plane with its first axis along the photo in the orientation of ``way_round``."""
    height, width = rgb.shape[:2]
    factor = _SMALL_PX / max(height, width)
    size = max(1, round(width * factor)), max(1, round(height * factor))
    way = way_round(shrunk(rgb, size))
    right, down = ((-1.0 if flip else 1.0) for flip in way.flips[::-1])
    first, second = np.array([right, 0.0]), np.array([0.0, down])
    if way.is_across:
        first, second = second, first
    middle = np.array([width - 1.0, height - 1.0]) / 2
    start, one, other = plane.to_mm(np.stack([middle, middle + first, middle + second]))
    along, across = (one - start) / np.hypot(*(one - start)), other - start
    # the second axis is at right angles to the first, on the side of the photo's second axis
    square = np.array([-along[1], along[0]])
    return LaidPlane(plane, np.stack([along, square * np.sign(square @ across)]))
