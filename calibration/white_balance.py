"""White balance in linear light: from grey patches when they are in sight, else estimated from the picture.

The estimate is the Minkowski-norm ("shades of grey") method of Finlayson and Trezzi (2004), shrunk towards "no
change", because a photo of one green board on a wooden table is not grey on average and the phone has already
balanced it once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.scale import GreyPatch

_CODES = np.arange(256) / 255
_LINEAR = np.where(_CODES <= 0.04045, _CODES / 12.92, ((_CODES + 0.055) / 1.055) ** 2.4).astype(np.float32)
_CLIPPED_LINEAR = 0.96  # at and above this (sRGB code 250) a channel says only "bright"
_MIN_PATCH_PIXELS = 30
_MINKOWSKI_P = 6.0
_SHRINK = 0.7  # share of the estimated log gain that is applied
_SAMPLE_SIDE_PX = 400
MAX_LOG2_GAIN = 1.0  # a cast stronger than this is not white balance but a coloured lamp; left to the refusal


@dataclass(frozen=True)
class WhiteBalance:
    """Factors on linear RGB that make a grey object grey, green fixed.

    Attributes:
        gains: red, green (always 1) and blue factor.
        method: where they come from.
    """

    gains: tuple[float, float, float]
    method: Literal["grey patches", "estimate"]

    def apply(self, rgb_linear: NDArray[np.float32]) -> NDArray[np.float32]:
        """Balanced copy of linear RGB, float32 (..., 3)."""
        return rgb_linear * np.asarray(self.gains, np.float32)


def to_linear(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """SRGB codes, uint8 (..., 3), to linear light 0..1, float32 of the same shape (IEC 61966-2-1)."""
    return _LINEAR[rgb]


def from_grey_patches(rgb: NDArray[np.uint8], patches: tuple[GreyPatch, ...]) -> WhiteBalance | None:
    """Gains from grey patches in sight, or None where too few of them are neither black nor clipped.

    Args:
        rgb: uint8 (height, width, 3).
        patches: with outlines in px of ``rgb``.
    """
    ratios = []
    for patch in patches:
        mean = _patch_mean(rgb, patch.polygon_px)
        if mean is not None and mean.max() < _CLIPPED_LINEAR and mean.min() > 0.01:
            ratios.append(np.log2(mean))
    if len(ratios) < 2:
        return None
    logs = np.median(np.asarray(ratios) - np.asarray(ratios)[:, 1:2], axis=0)
    return _balance(-logs, "grey patches")


def estimate(rgb: NDArray[np.uint8]) -> WhiteBalance:
    """Gains judged from the whole picture, uint8 (height, width, 3)."""
    k = min(1.0, _SAMPLE_SIDE_PX / max(rgb.shape[:2]))
    small = cv2.resize(rgb, None, fx=k, fy=k, interpolation=cv2.INTER_AREA) if k < 1 else rgb
    linear = to_linear(np.asarray(small, np.uint8)).reshape(-1, 3)
    usable = linear[linear.max(axis=1) < _CLIPPED_LINEAR]
    if len(usable) < _MIN_PATCH_PIXELS:
        return WhiteBalance((1.0, 1.0, 1.0), "estimate")
    norm = np.mean(usable.astype(np.float64) ** _MINKOWSKI_P, axis=0) ** (1 / _MINKOWSKI_P)
    logs = np.log2(np.maximum(norm, 1e-6))
    return _balance(-_SHRINK * (logs - logs[1]), "estimate")


def _patch_mean(rgb: NDArray[np.uint8], polygon_px: NDArray[np.float64]) -> NDArray[np.float64] | None:
    height, width = rgb.shape[:2]
    if polygon_px.min() < 0 or polygon_px[:, 0].max() > width - 1 or polygon_px[:, 1].max() > height - 1:
        return None
    x0, y0 = np.floor(polygon_px.min(axis=0)).astype(int)
    x1, y1 = np.ceil(polygon_px.max(axis=0)).astype(int) + 1
    mask = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.fillConvexPoly(mask, np.round(polygon_px - (x0, y0)).astype(np.int32), 1)
    pixels = to_linear(rgb[y0:y1, x0:x1][mask > 0])
    if len(pixels) < _MIN_PATCH_PIXELS:
        return None
    return np.asarray(np.median(pixels.astype(np.float64), axis=0))


def _balance(log2_gains: NDArray[np.float64], method: Literal["grey patches", "estimate"]) -> WhiteBalance:
    red, _, blue = np.exp2(np.clip(log2_gains, -MAX_LOG2_GAIN, MAX_LOG2_GAIN))
    return WhiteBalance((float(red), 1.0, float(blue)), method)
