"""The scale of one photo: the size of a pixel in the plane of the boards' faces.

A ``Scale`` measures in the photo as taken: it never resamples. ``pixel_area_mm2`` is the Jacobian of the map
photo → face plane, so that area = Σ coverage × pixel area.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from calibration.arrays import FloatArray
from calibration.inputs import Input
from calibration.notices import Notice

Method = Literal["target", "length", "rectangle", "coin", "pitch", "none"]


class FacePlane(Protocol):
    """Map from photo pixels (after EXIF orientation, integer = pixel centre) to the plane of the boards' faces."""

    def to_mm(self, xy_px: FloatArray) -> FloatArray:
        """Photo points (n, 2) in px → face points (n, 2) in mm; axes right-handed in the plane, origin arbitrary."""

    def to_px(self, xy_mm: FloatArray) -> FloatArray:
        """The inverse of ``to_mm``: face points (n, 2) in mm → photo points (n, 2) in px."""

    def pixel_area_mm2(self, xy_px: FloatArray) -> FloatArray:
        """Area in mm² of a one-pixel square around each photo point: (n, 2) in px → (n,)."""


@dataclass(frozen=True)
class Scale:
    """The map from a photo's pixels to millimetres, with its uncertainty.

    Attributes:
        method: source of the scale.
        plane: the map to the plane of the boards' faces (the height above the target is already in it).
        px_per_mm: at the middle of the object used for scale; see ``px_per_mm_at`` for other places.
        area_inputs: independent factors on area (distributions about 1): corner fit, print size, face height,
            tilt, marking. Names hold the photo's short sha256 where the error belongs to this photo alone.
        notices: for the user.
        target_px: outlines (k, 2) in px of the printed sheet, to be left out of the search for gold; empty if none.
        tilt_deg: angle between the view at the photo's middle and the face plane's normal; None if unknown.
    """

    method: Method
    plane: FacePlane
    px_per_mm: float
    area_inputs: tuple[Input, ...]
    notices: tuple[Notice, ...] = ()
    target_px: tuple[FloatArray, ...] = ()
    tilt_deg: float | None = None

    def px_per_mm_at(self, xy_px: FloatArray) -> float:
        """Mean linear scale at some photo points (n, 2)."""
        return float(1.0 / np.sqrt(np.mean(self.plane.pixel_area_mm2(xy_px))))

    def relative_uncertainty(self) -> float:
        """Standard uncertainty of length ÷ length: half the relative standard deviation of the area factors."""
        product = np.prod([i.draws(5_000) for i in self.area_inputs], axis=0) if self.area_inputs else np.ones(1)
        return float(np.std(product) / np.mean(product) / 2)
