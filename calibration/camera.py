"""A camera's lens: photo points to rays and back, with radial distortion, and prior knowledge of the camera.

Rays are given as (x, y) of (x, y, 1) in camera axes: x right, y down, z forward. Distortion is radial,
``r_seen = r (1 + k1 r² + k2 r⁴)`` (Brown's model, as OpenCV has it), in units of the focal length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.sourced import load_figures

_NEWTON_STEPS = 30
# credible focal lengths as multiples of the picture's diagonal; beyond these, EXIF is wrong and is ignored
_CREDIBLE = (0.2, 30.0)
_FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True)
class Lens:
    """A pinhole with radial distortion.

    Attributes:
        focal_px: focal length in px.
        cx: place where the optical axis meets the photo, px from its first pixel's centre rightwards.
        cy: the same downwards.
        k1: radial distortion, cubic term.
        k2: radial distortion, fifth-power term.
    """

    focal_px: float
    cx: float
    cy: float
    k1: float = 0.0
    k2: float = 0.0

    def rays(self, xy_px: FloatArray) -> FloatArray:
        """Undistorted rays (n, 2) of photo points (n, 2) in px."""
        seen = self._centred(xy_px)
        r_seen = np.hypot(seen[:, 0], seen[:, 1])
        r = self._undistorted_radius(r_seen)
        ratio = np.divide(r, r_seen, out=np.ones_like(r), where=r_seen > 0)
        return np.asarray(seen * ratio[:, None])

    def rays_and_density(self, xy_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Rays (n, 2) and the area, in ray coordinates, that one square pixel covers there (n,)."""
        rays = self.rays(xy_px)
        r2 = rays[:, 0] ** 2 + rays[:, 1] ** 2
        radial = 1 + r2 * (3 * self.k1 + 5 * self.k2 * r2)
        tangential = 1 + r2 * (self.k1 + self.k2 * r2)
        return rays, 1 / (radial * tangential * self.focal_px**2)

    def to_px(self, rays: FloatArray) -> FloatArray:
        """Photo points (n, 2) in px of rays (n, 2): the inverse of ``rays``."""
        r2 = np.sum(rays**2, axis=1)
        seen = rays * (1 + r2 * (self.k1 + self.k2 * r2))[:, None]
        return np.asarray(seen * self.focal_px + np.array([self.cx, self.cy]))

    def is_one_to_one(self, shape: tuple[int, ...]) -> bool:
        """True if distortion does not fold the photo of (height, width) back on itself."""
        r_seen = math.hypot(shape[0], shape[1]) / 2 / self.focal_px
        radii = np.linspace(0, 1.3 * r_seen, 200) ** 2
        return bool(np.all(1 + radii * (3 * self.k1 + 5 * self.k2 * radii) > 0.2))

    def _centred(self, xy_px: FloatArray) -> FloatArray:
        xy = np.asarray(xy_px, dtype=np.float64).reshape(-1, 2)
        return np.asarray((xy - np.array([self.cx, self.cy])) / self.focal_px)

    def _undistorted_radius(self, r_seen: FloatArray) -> FloatArray:
        if self.k1 == 0 and self.k2 == 0:
            return r_seen
        r = r_seen.copy()
        for _ in range(_NEWTON_STEPS):
            r2 = r * r
            slope = np.maximum(1 + r2 * (3 * self.k1 + 5 * self.k2 * r2), 0.1)
            step = (r * (1 + r2 * (self.k1 + self.k2 * r2)) - r_seen) / slope
            r -= step
            if np.max(np.abs(step), initial=0.0) < 1e-14:
                break
        return r


@dataclass(frozen=True)
class CameraPrior:
    """The prior of a photo's camera, before anything of known size is found in it.

    Each parameter has a normal law: log focal length, the optical axis, and the two terms of distortion.

    Attributes:
        lens: the most likely camera.
        focal_sd_log: of the focal length's logarithm.
        centre_sd_px: of the optical axis, in each direction.
        k1_sd: of ``lens.k1``.
        k2_sd: of ``lens.k2``.
        focal_known: True if the photo stated its focal length.
    """

    lens: Lens
    focal_sd_log: float
    centre_sd_px: float
    k1_sd: float
    k2_sd: float
    focal_known: bool

    def drawn(self, rng: np.random.Generator) -> Lens:
        """A random camera from this prior."""
        focal, cx, cy, k1, k2 = rng.standard_normal(5)
        return Lens(
            self.lens.focal_px * math.exp(self.focal_sd_log * focal),
            self.lens.cx + self.centre_sd_px * cx,
            self.lens.cy + self.centre_sd_px * cy,
            self.k1_sd * k1,
            self.k2_sd * k2,
        )


def camera_prior(shape: tuple[int, ...], focal_px: float | None = None) -> CameraPrior:
    """Prior knowledge of the camera of a photo of (height, width, ...).

    Args:
        shape: of the photo.
        focal_px: from its EXIF; if missing or not credible, a phone's main camera is assumed, with a wide spread.
    """
    figures = load_figures("scale_figures")
    diagonal = math.hypot(shape[0], shape[1])
    known = focal_px is not None and _CREDIBLE[0] * diagonal <= focal_px <= _CREDIBLE[1] * diagonal
    if focal_px is not None and known:
        focal, sd = float(focal_px), figures["focal_exif_sd_log"].value
    else:
        focal = figures["focal_phone_equivalent"].value / _FILM_DIAGONAL_MM * diagonal
        sd = figures["focal_prior_sd_log"].value
    corner2 = (diagonal / 2 / focal) ** 2
    return CameraPrior(
        lens=Lens(focal, (shape[1] - 1) / 2, (shape[0] - 1) / 2),
        focal_sd_log=sd,
        centre_sd_px=figures["centre_sd"].value * diagonal,
        k1_sd=figures["distortion_sd_at_corner"].value / corner2,
        k2_sd=figures["distortion_second_sd_at_corner"].value / corner2**2,
        focal_known=known,
    )
