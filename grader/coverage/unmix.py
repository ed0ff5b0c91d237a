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

_BLOCK_PX = 96
_LEAST_CONTRAST = 0.1  # distance of the two colours ÷ length of the inner one
_LEAST_WEIGHT = 2e-3
_FALLBACK_WEIGHT = 0.02  # pixels of the band count this much where nothing surer is near
_REACH_MM = 0.35

_JUST_OUTSIDE, _JUST_INSIDE = 1, 2  # depths; 0 and 3 are surely outside and inside
_LINEAR = to_linear(np.arange(256, dtype=np.uint8))


def _by_depth(*weights: float) -> NDArray[np.float32]:
    return np.array(weights + (0.0,) * (256 - len(weights)), np.float32)


# how much pixels of each depth count for a contact's own colour, and for that beside it
_OWN_WEIGHT = _by_depth(0, 0, _FALLBACK_WEIGHT, 1)
_BESIDE_WEIGHT = _by_depth(1, _FALLBACK_WEIGHT, 0, 0)


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
    depth = _depth(mask, band_px)
    reach = max(band_px + 1, round(_REACH_MM * px_per_mm))
    at_edge = (depth == _JUST_OUTSIDE) | (depth == _JUST_INSIDE)
    across = mask.shape[1] // _BLOCK_PX + 1
    ys, xs = np.divmod(np.flatnonzero(at_edge), mask.shape[1])
    for number in np.flatnonzero(np.bincount(ys // _BLOCK_PX * across + xs // _BLOCK_PX)).tolist():
        top, left = number // across * _BLOCK_PX, number % across * _BLOCK_PX
        y0, x0 = max(top - reach, 0), max(left - reach, 0)
        around = (slice(y0, top + _BLOCK_PX + reach), slice(x0, left + _BLOCK_PX + reach))
        wanted = np.zeros_like(at_edge[around])
        wanted[top - y0 :, left - x0 :] = at_edge[top : around[0].stop, left : around[1].stop]
        wanted[top - y0 + _BLOCK_PX :] = wanted[:, left - x0 + _BLOCK_PX :] = False
        at, share = _unmixed(rgb[around], depth[around], np.flatnonzero(wanted), reach)
        y, x = np.divmod(at, wanted.shape[1])
        out[y + y0, x + x0] = np.round(255 * share)
    return out


def _depth(mask: NDArray[np.bool_], band_px: int) -> NDArray[np.uint8]:
    """Where pixels lie with regard to the mask's edge: surely outside, outside, inside or surely inside, 0..3."""
    binary = mask.astype(np.uint8)
    element = np.ones((2 * band_px + 1,) * 2, np.uint8)
    return np.asarray(binary + cv2.erode(binary, element) + cv2.dilate(binary, element), np.uint8)


def _unmixed(
    rgb: NDArray[np.uint8], depth: NDArray[np.uint8], wanted: NDArray[np.intp], reach: int
) -> tuple[NDArray[np.intp], NDArray[np.float32]]:
    """Those of some pixels, numbered row by row, whose two colours can be told apart (n,), and their shares (n,)."""
    linear = cv2.LUT(cv2.cvtColor(rgb, cv2.COLOR_RGB2RGBA), _LINEAR)  # the fourth channel is 1 everywhere
    depths, side = cv2.merge([depth] * 4), (2 * reach + 1,) * 2
    seen, own, beside = (
        picture.reshape(-1, 4)[wanted]
        for picture in (
            linear,
            cv2.blur(cv2.multiply(linear, cv2.LUT(depths, _OWN_WEIGHT)), side),
            cv2.blur(cv2.multiply(linear, cv2.LUT(depths, _BESIDE_WEIGHT)), side),
        )
    )
    known = (own[:, 3] > _LEAST_WEIGHT) & (beside[:, 3] > _LEAST_WEIGHT)
    own, beside = (c / np.maximum(c[:, 3:], _LEAST_WEIGHT) for c in (own, beside))  # their fourth channels are now 1
    apart = own - beside
    square = _dot(apart, apart)
    clear = known & (square > _LEAST_CONTRAST**2 * _dot(own[:, :3], own[:, :3]))
    share = _dot(seen - beside, apart)[clear] / np.maximum(square[clear], 1e-6)
    return wanted[clear], np.clip(share, 0, 1)


def _dot(a: NDArray[np.float32], b: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.einsum("ij,ij->i", a, b), np.float32)
