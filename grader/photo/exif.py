"""The few EXIF facts that a measurement needs. An absent, odd or unreadable fact is None, never an error."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import Image

from grader.photo.sniff import Format

_ORIENTATION = 0x0112
_EXIF_IFD = 0x8769
_DATE_TIME_ORIGINAL = 0x9003
_PIXEL_X_DIMENSION = 0xA002
_PIXEL_Y_DIMENSION = 0xA003
_FOCAL_LENGTH_IN_35MM_FILM = 0xA405

# Full-frame film: CIPA DCG-001 and EXIF 2.3 define the equivalent by the diagonal's angle of view.
FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
# From fisheye to telescope; EXIF writes 0 for "unknown".
_PLAUSIBLE_FOCAL_35MM = (4.0, 3000.0)
# Rounding to whole pixels and to multiples of 16 stays below this; a significant crop does not.
_ASPECT_TOLERANCE = 0.01


@dataclass(frozen=True)
class ExifFacts:
    """Facts from EXIF.

    Attributes:
        orientation: 1..8 as EXIF numbers them; 1 where absent or invalid.
        focal_35mm: focal length equivalent on full-frame film, mm.
        aspect: longer ÷ shorter side of the picture as the camera took it.
        taken_at: by the camera's own clock, without time zone.
    """

    orientation: int = 1
    focal_35mm: float | None = None
    aspect: float | None = None
    taken_at: datetime | None = None

    def focal_px(self, width_px: int, height_px: int) -> float | None:
        """Focal length in px of a picture of this size.

        None if the picture does not have the shape that the camera took: it was cropped, so its diagonal differs.
        """
        if self.focal_35mm is None:
            return None
        shape = max(width_px, height_px) / min(width_px, height_px)
        if self.aspect is not None and abs(shape / self.aspect - 1) > _ASPECT_TOLERANCE:
            return None
        return self.focal_35mm * math.hypot(width_px, height_px) / FILM_DIAGONAL_MM


def read_exif(picture: Image.Image, kind: Format) -> ExifFacts:
    """The facts of a decoded picture.

    The orientation is the one still to be applied: the decoders of TIFF and HEIF turn the picture themselves (for
    HEIF the container's rotation counts, and EXIF's is to be ignored, ISO/IEC 23008-12), so for these it is 1.
    """
    try:
        exif = _tags(picture, kind)
        orientation: Any = exif.get(_ORIENTATION)
        details = exif.get_ifd(_EXIF_IFD)
    except Exception:  # damaged EXIF raises anything; the photo itself can still be sound
        return ExifFacts()
    turned = kind not in ("TIFF", "HEIF") and isinstance(orientation, int) and 1 <= orientation <= 8
    x, y = _number(details.get(_PIXEL_X_DIMENSION)), _number(details.get(_PIXEL_Y_DIMENSION))
    focal = _number(details.get(_FOCAL_LENGTH_IN_35MM_FILM))
    low, high = _PLAUSIBLE_FOCAL_35MM
    return ExifFacts(
        orientation=orientation if turned else 1,
        focal_35mm=focal if focal is not None and low <= focal <= high else None,
        aspect=max(x, y) / min(x, y) if x and y and x > 0 and y > 0 else None,
        taken_at=_time(details.get(_DATE_TIME_ORIGINAL)),
    )


def _tags(picture: Image.Image, kind: Format) -> Image.Exif:
    if kind == "TIFF":
        return picture.getexif()
    # Not picture.getexif(), which takes the orientation from XMP where EXIF has none; no viewer does that.
    exif = Image.Exif()
    exif.load(picture.info.get("exif") or b"")
    return exif


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) else None


def _time(value: Any) -> datetime | None:
    try:
        return datetime.strptime(str(value).strip("\x00 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
