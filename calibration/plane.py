"""Planes in a photo: photo points to millimetres and back, and the true area of each pixel.

All classes fulfil ``calibration.scale.FacePlane``. In-plane axes are x right and y down as the camera sees an
unrotated sheet, like the photo's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.camera import Lens
from calibration.scale import FacePlane


@dataclass(frozen=True, eq=False)
class PosedPlane:
    """A plane parallel to a sheet of known pose, nearer to the camera by ``height_mm``.

    The sheet is the plane z = 0 of its own axes, z away from the camera; a sheet point X is at
    ``rotation @ X + translation`` in camera axes.

    Attributes:
        lens: of the camera.
        rotation: float64 (3, 3).
        translation: float64 (3,), mm.
        height_mm: of the plane above the sheet.
    """

    lens: Lens
    rotation: FloatArray
    translation: FloatArray
    height_mm: float = 0.0

    @property
    def normal(self) -> FloatArray:
        """The sheet's z axis in camera axes, away from the camera, float64 (3,)."""
        return np.asarray(self.rotation[:, 2])

    @property
    def sheet_distance_mm(self) -> float:
        """Distance of the camera from the sheet, along the normal."""
        return float(self.normal @ self.translation)

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the plane's normal."""
        return float(np.degrees(np.arccos(np.clip(self.normal[2], -1.0, 1.0))))

    def at_height(self, height_mm: float) -> PosedPlane:
        """The parallel plane at another height above the sheet."""
        return PosedPlane(self.lens, self.rotation, self.translation, height_mm)

    def to_mm(self, xy_px: FloatArray) -> FloatArray:
        """Photo points (n, 2) in px → plane points (n, 2) in mm, origin at the sheet's; beyond the horizon NaN."""
        rays = self.lens.rays(xy_px)
        directions = np.column_stack([rays, np.ones(len(rays))])
        depth = self._depth(directions @ self.normal)
        return np.asarray((directions * depth[:, None] - self.translation) @ self.rotation[:, :2])

    def to_px(self, xy_mm: FloatArray) -> FloatArray:
        """The inverse of ``to_mm``: plane points (n, 2) in mm → photo points (n, 2) in px."""
        xy = np.asarray(xy_mm, dtype=np.float64).reshape(-1, 2)
        sheet = np.column_stack([xy, np.full(len(xy), -self.height_mm)])
        camera = sheet @ self.rotation.T + self.translation
        return self.lens.to_px(camera[:, :2] / camera[:, 2:])

    def pixel_area_mm2(self, xy_px: FloatArray) -> FloatArray:
        """Area in mm² of a one-pixel square around each photo point (n, 2): the Jacobian of ``to_mm``.

        A ray (x, y, 1) meets a plane with unit normal n at distance d in an area d² / (n·(x, y, 1))³ for each unit
        of area in (x, y); the lens gives the area in (x, y) of one pixel.
        """
        rays, density = self.lens.rays_and_density(xy_px)
        cosine = rays @ self.normal[:2] + self.normal[2]
        distance = self.sheet_distance_mm - self.height_mm
        depth = self._depth(cosine)
        return np.asarray(depth * depth * depth / distance * density)  # a power of 3 is many times slower

    def _depth(self, cosine: FloatArray) -> FloatArray:
        distance = self.sheet_distance_mm - self.height_mm
        depth = np.full(len(cosine), np.nan)
        np.divide(distance, cosine, out=depth, where=cosine > 0)
        return depth


@dataclass(frozen=True)
class UniformPlane:
    """A plane seen square on by a perfect lens: the same scale everywhere.

    Attributes:
        px_per_mm: the scale.
    """

    px_per_mm: float

    def to_mm(self, xy_px: FloatArray) -> FloatArray:
        """Photo points (n, 2) in px → plane points (n, 2) in mm, origin at the photo's first pixel."""
        return np.asarray(xy_px, dtype=np.float64).reshape(-1, 2) / self.px_per_mm

    def to_px(self, xy_mm: FloatArray) -> FloatArray:
        """The inverse of ``to_mm``."""
        return np.asarray(xy_mm, dtype=np.float64).reshape(-1, 2) * self.px_per_mm

    def pixel_area_mm2(self, xy_px: FloatArray) -> FloatArray:
        """Area in mm² of a pixel, the same at each point (n,)."""
        return np.full(len(np.asarray(xy_px).reshape(-1, 2)), 1 / self.px_per_mm**2)


@dataclass(frozen=True, eq=False)
class ResizedPlane:
    """A plane in a copy of the photo that has more or fewer pixels.

    Attributes:
        photo_plane: of the photo itself.
        factor: the copy's width ÷ the photo's.
    """

    photo_plane: FacePlane
    factor: float

    def to_mm(self, xy_px: FloatArray) -> FloatArray:
        """Points (n, 2) in px of the copy → plane points (n, 2) in mm."""
        return self.photo_plane.to_mm(self._in_photo(xy_px))

    def to_px(self, xy_mm: FloatArray) -> FloatArray:
        """The inverse of ``to_mm``."""
        return (self.photo_plane.to_px(xy_mm) + 0.5) * self.factor - 0.5

    def pixel_area_mm2(self, xy_px: FloatArray) -> FloatArray:
        """Area in mm² of one of the copy's pixels at each point (n,)."""
        return self.photo_plane.pixel_area_mm2(self._in_photo(xy_px)) / self.factor**2

    def _in_photo(self, xy_px: FloatArray) -> FloatArray:
        return (np.asarray(xy_px, dtype=np.float64).reshape(-1, 2) + 0.5) / self.factor - 0.5
