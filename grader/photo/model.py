"""A loaded photo."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from calibration.notices import Notice
from calibration.view import View


@dataclass(frozen=True)
class Photo:
    """A decoded photo, upright.

    Attributes:
        name: as the user knows it (only for display; never used as a path).
        sha256: of the file's bytes, hex.
        rgb: uint8 (height, width, 3), sRGB-encoded, EXIF orientation applied, read-only.
        format: "JPEG", "PNG", "WEBP", "TIFF" or "HEIF".
        focal_px: focal length in px of this picture from EXIF (35 mm equivalent: half the diagonal of 36 × 24 mm
            scaled to this picture's diagonal), or None.
        taken_at: time at which it was taken, from EXIF, or None.
        notices: doubts about the file.
    """

    name: str
    sha256: str
    rgb: NDArray[np.uint8]
    format: str
    focal_px: float | None = None
    taken_at: datetime | None = None
    notices: tuple[Notice, ...] = ()

    @property
    def width_px(self) -> int:
        """Width after orientation."""
        return int(self.rgb.shape[1])

    @property
    def height_px(self) -> int:
        """Height after orientation."""
        return int(self.rgb.shape[0])

    @property
    def short_id(self) -> str:
        """First characters of the sha256: names the inputs that belong to this photo alone."""
        return self.sha256[:12]

    @property
    def view(self) -> View:
        """The photo without its pixels."""
        return View(self.rgb.shape, self.focal_px, self.short_id)
