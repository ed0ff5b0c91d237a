"""The benchmark's photos: samples enlarged to the size of a phone's photo, with fresh noise.

They are as much work as a phone's photo, though not as sharp. The quality is the lowest at which their files come
near a phone's bits per pixel (1.5 to 4 in photographs of this kind; common practice, no source). At a lower quality
the decode, with which everything is compared, would be quicker than that of a phone's photo.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from grader.photo import load_photo
from grader.samples import samples_folder

PLATED = ("memory-modules", "expansion-card", "breakout-pads", "strip-boards", "listing-photo")
BARE = ("no-gold",)
SIZES_MP = (3, 12, 48)
_NOISE_CODES = 4.0
_QUALITY = 96


def enlarged(name: str, megapixels: float, folder: Path, suffix: str = ".jpg") -> Path:
    """A sample at another size, written into a folder as JPEG or HEIC."""
    small = np.ascontiguousarray(load_photo(samples_folder() / f"{name}.jpg").rgb[..., ::-1])
    height, width = small.shape[:2]
    factor = (megapixels * 1e6 / (height * width)) ** 0.5
    large = cv2.resize(small, (round(width * factor), round(height * factor)), interpolation=cv2.INTER_CUBIC)
    noise = np.empty(large.shape, np.int16)
    cv2.setRNGSeed(0)
    cv2.randn(noise, 0, _NOISE_CODES)
    noisy = cv2.add(large, noise, dtype=cv2.CV_8U)
    path = folder / f"{name}-{megapixels:g}{suffix}"
    if suffix == ".heic":
        import pillow_heif

        pillow_heif.from_bytes("RGB", noisy.shape[1::-1], noisy[..., ::-1].tobytes()).save(path, quality=80)
    else:
        cv2.imwrite(str(path), noisy, [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    return path
