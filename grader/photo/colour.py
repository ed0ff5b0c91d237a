"""Colour profiles: pixels in other RGB spaces (Display P3 of many phones) become sRGB."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

# Two renderings of sRGB itself (profiles of versions 2 and 4) differ by this much; for less, pixels are not touched.
SAME_WITHIN_LEVELS = 2
_ROWS_AT_ONCE = 256  # keeps the working copies small beside the picture
_STEPS = np.linspace(0, 255, 9).astype(np.uint8)
_PROBE = np.stack(np.meshgrid(_STEPS, _STEPS, _STEPS), axis=-1).reshape(27, 27, 3)


def convert_to_srgb(rgb: NDArray[np.uint8], icc_profile: bytes | None) -> None:
    """Convert pixels in place from their embedded profile to sRGB (relative colorimetric).

    Pixels stay unchanged without a profile, with a profile that means sRGB (it changes no colour by more than
    ``SAME_WITHIN_LEVELS``), and with a profile that cannot be used (broken, or not for RGB).

    Args:
        rgb: uint8 (height, width, 3), writable.
        icc_profile: the embedded ICC profile, if any.
    """
    transform = _transform(icc_profile) if icc_profile else None
    if transform is None:
        return
    for top in range(0, rgb.shape[0], _ROWS_AT_ONCE):
        rows = rgb[top : top + _ROWS_AT_ONCE]
        rows[:] = _apply(transform, rows)


def _transform(icc_profile: bytes) -> ImageCms.ImageCmsTransform | None:
    try:
        transform = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(io.BytesIO(icc_profile)),
            ImageCms.createProfile("sRGB"),
            "RGB",
            "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
        moved = np.abs(_apply(transform, _PROBE).astype(np.int16) - _PROBE).max()
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return None
    return transform if moved > SAME_WITHIN_LEVELS else None


def _apply(transform: ImageCms.ImageCmsTransform, rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    picture = Image.fromarray(rgb)
    return np.asarray(transform.apply(picture))
