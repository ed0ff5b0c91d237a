"""Share of plating in edge pixels, by mixing two colours.

A pixel across the edge of a contact shows a mixture, in linear light, of the contact's own colour and of what lies
beside it. With both taken from the nearest pixels that are surely inside and surely outside, the share follows by
projection on the line between the two colours. Where the two are too alike to tell, the mask decides.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.white_balance import to_linear

_BLOCK_PX = 256
_LEAST_CONTRAST = 0.1  # distance of the two colours ÷ length of the inner one
_LEAST_WEIGHT = 2e-3
_FALLBACK_WEIGHT = 0.02  # pixels of the band count this much where nothing surer is near
_REACH_MM = 0.35


def unmix_edges(
    rgb: NDArray[np.uint8], mask: NDArray[np.bool_], px_per_mm: float, band_px: int = 1
) -> NDArray[np.uint8]:
    """Coverage from a mask.

    Args:
        rgb: uint8 (height, width, 3).
        mask: bool (height, width), plated pixels.
        px_per_mm: of this picture, for how far to look for pure colours.
        band_px: the mask's edge may be off by this much; these pixels to either side are unmixed.

    Returns:
        uint8 (height, width), 255 = wholly plated.
    """
    out = np.where(mask, np.uint8(255), np.uint8(0))
    reach = max(band_px + 1, round(_REACH_MM * px_per_mm))
    halo = reach + band_px + 1
    for top in range(0, mask.shape[0], _BLOCK_PX):
        for left in range(0, mask.shape[1], _BLOCK_PX):
            rows, columns = slice(top, top + _BLOCK_PX), slice(left, left + _BLOCK_PX)
            around = (
                slice(max(top - halo, 0), top + _BLOCK_PX + halo),
                slice(max(left - halo, 0), left + _BLOCK_PX + halo),
            )
            if mask[around].any():
                share = _unmix(to_linear(rgb[around]), mask[around], reach, band_px)
                inside = share[top - around[0].start :, left - around[1].start :][:_BLOCK_PX, :_BLOCK_PX]
                out[rows, columns] = np.round(255 * inside).astype(np.uint8)
    return out


def _unmix(linear: NDArray[np.float32], mask: NDArray[np.bool_], reach: int, band_px: int) -> NDArray[np.float32]:
    binary = mask.astype(np.uint8)
    element = np.ones((2 * band_px + 1,) * 2, np.uint8)
    inner, grown = cv2.erode(binary, element) > 0, cv2.dilate(binary, element) > 0
    own, own_weight = _local_colour(linear, np.where(inner, 1, np.where(mask, _FALLBACK_WEIGHT, 0)), reach)
    beside, beside_weight = _local_colour(linear, np.where(~grown, 1, np.where(mask, 0, _FALLBACK_WEIGHT)), reach)
    apart = own - beside
    square = np.sum(apart * apart, axis=-1)
    share = np.sum((linear - beside) * apart, axis=-1) / np.maximum(square, 1e-6)
    clear = square > (_LEAST_CONTRAST * np.linalg.norm(own, axis=-1)) ** 2
    usable = grown & ~inner & clear & (own_weight > _LEAST_WEIGHT) & (beside_weight > _LEAST_WEIGHT)
    return np.asarray(np.where(usable, np.clip(share, 0, 1), mask), np.float32)


def _local_colour(
    linear: NDArray[np.float32], weight: NDArray[np.floating], reach: int
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    side = (2 * reach + 1,) * 2
    weight32 = weight.astype(np.float32)
    mean_weight = cv2.blur(weight32, side)
    colour = cv2.blur(linear * weight32[..., None], side) / np.maximum(mean_weight, 1e-6)[..., None]
    return np.asarray(colour, np.float32), np.asarray(mean_weight, np.float32)
