"""A photo's geometry; places in a photo of a plane, and views too far askew to measure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import ScaleError
from calibration.plane import PosedPlane
from calibration.sourced import load_figures

_MARGIN = 0.08
# the steepest ray of the photo still has to meet the plane at this cosine
_COSINE_MIN = 0.1


@dataclass(frozen=True)
class View:
    """A photo without its pixels.

    Attributes:
        shape: (height, width, ...) in px.
        focal_px: focal length from EXIF, or None.
        id: names the inputs that belong to this photo alone.
    """

    shape: tuple[int, ...]
    focal_px: float | None = None
    id: str = ""


def places_in_view(shape: tuple[int, ...], across: int = 16, down: int = 12) -> FloatArray:
    """An even grid of places (across × down, 2) in px over a photo of (height, width, ...), short of its rim."""
    height, width = shape[:2]
    x = np.linspace(_MARGIN, 1 - _MARGIN, across) * (width - 1)
    y = np.linspace(_MARGIN, 1 - _MARGIN, down) * (height - 1)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def refuse_askew(plane: PosedPlane, shape: tuple[int, ...]) -> None:
    """Raise if the plane is seen so flat, or the lens bends so much, that parts of the photo cannot be measured.

    Raises:
        ScaleError: the tilt is beyond the limit, the plane's horizon is near, or distortion folds the photo.
    """
    limit = load_figures("scale_figures")["tilt_refused"].value
    height, width = shape[:2]
    if not plane.lens.is_one_to_one(shape):
        raise ScaleError(
            "lens-implausible",
            "The points that give the scale would need a lens that folds the picture back on itself.",
            "Lay the target flat (or mark the corners in order and to the pixel), and try again.",
        )
    rim = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=np.float64)
    rays = plane.lens.rays(rim)
    horizon = bool(np.any(rays @ plane.normal[:2] + plane.normal[2] < _COSINE_MIN))
    if plane.tilt_deg > limit or horizon:
        raise ScaleError(
            "tilt-too-large",
            f"The camera was tilted {plane.tilt_deg:.0f}° from straight down, too much to measure "
            f"(limit {limit:.0f}°).",
            "Hold the phone level above the boards, and take the photo again.",
        )
