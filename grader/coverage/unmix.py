"""Share of plating in edge pixels, by mixing two colours.

A pixel on the edge of a contact shows a mixture, in linear light, of the contact's own colour and the colour beside
it. Both are taken from the nearest pixels that are surely inside and surely outside; the share then follows by
projection on the line between the two colours. Where the two are too alike to tell apart, the mask decides.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.linear_light import to_linear
from grader.coverage.plated import around_plating
from grader.threads import in_parallel

_BLOCK_PX = 192  # smaller blocks wait for the interpreter, larger ones hold more that is not an edge
_LEAST_CONTRAST = 0.1  # distance of the two colours ÷ length of the inner one
_LEAST_WEIGHT = 2e-3
_FALLBACK_WEIGHT = 0.02  # weight of the band's pixels, which decide where no surer ones are near
_REACH_MM = 0.35

_JUST_OUTSIDE, _JUST_INSIDE = 1, 2  # depths; 0 and 3 are surely outside and inside
_LINEAR = to_linear(np.arange(256, dtype=np.uint8))


def _by_depth(*weights: float) -> NDArray[np.float32]:
    return np.array(weights + (0.0,) * (256 - len(weights)), np.float32)


# weights of pixels of each depth for a contact's own colour, and for the colour beside it
_OWN_WEIGHT = _by_depth(0, 0, _FALLBACK_WEIGHT, 1)
_BESIDE_WEIGHT = _by_depth(1, _FALLBACK_WEIGHT, 0, 0)


def unmix_edges(
    rgb: NDArray[np.uint8], mask: NDArray[np.bool_], px_per_mm: float, band_px: int = 1
) -> NDArray[np.uint8]:
    """Coverage from a mask.

    Args:
        rgb: uint8 (height, width, 3).
        mask: bool (height, width), plated pixels.
        px_per_mm: of this picture; sets how far to look for pure colours.
        band_px: the mask's edge may be off by this much; so many pixels to either side are unmixed.

    Returns:
        uint8 (height, width), 255 = wholly plated.
    """
    plated = np.ascontiguousarray(mask).view(np.uint8)
    out = plated * np.uint8(255)
    depth = _depth(plated, band_px)
    reach = max(band_px + 1, round(_REACH_MM * px_per_mm))

    def unmix(corner: tuple[int, int]) -> None:
        top, left = corner
        y0, x0 = max(top - reach, 0), max(left - reach, 0)
        around = (slice(y0, top + _BLOCK_PX + reach), slice(x0, left + _BLOCK_PX + reach))
        own = (slice(top - y0, top - y0 + _BLOCK_PX), slice(left - x0, left - x0 + _BLOCK_PX))
        nearby = depth[around]
        wanted = np.zeros_like(nearby, bool)
        wanted[own] = _at_edge(nearby[own])
        at, share = _unmixed(rgb[around], nearby, np.flatnonzero(wanted), reach)
        y, x = np.divmod(at, wanted.shape[1])
        out[y + y0, x + x0] = np.round(255 * share)

    in_parallel(unmix, _blocks(depth))
    return out


def _depth(plated: NDArray[np.uint8], band_px: int) -> NDArray[np.uint8]:
    """Position of pixels relative to the mask's edge: surely outside, outside, inside or surely inside, 0..3."""
    whole = np.zeros(plated.shape, np.uint8)
    around = around_plating(plated, band_px)
    binary = plated[around]
    if binary.size:
        element = np.ones((2 * band_px + 1,) * 2, np.uint8)
        whole[around] = binary + cv2.erode(binary, element) + cv2.dilate(binary, element)
    return whole


def _at_edge(depth: NDArray[np.uint8]) -> NDArray[np.bool_]:
    return np.asarray((depth == _JUST_OUTSIDE) | (depth == _JUST_INSIDE))


def _blocks(depth: NDArray[np.uint8]) -> list[tuple[int, int]]:
    """Top and left of the blocks in which there are edge pixels."""
    rows, columns = around_plating(depth)
    ys, xs = np.nonzero(_at_edge(depth[rows, columns]))
    across = depth.shape[1] // _BLOCK_PX + 1
    numbers = (ys + rows.start) // _BLOCK_PX * across + (xs + columns.start) // _BLOCK_PX
    return [(n // across * _BLOCK_PX, n % across * _BLOCK_PX) for n in np.flatnonzero(np.bincount(numbers)).tolist()]


def _unmixed(
    rgb: NDArray[np.uint8], depth: NDArray[np.uint8], wanted: NDArray[np.intp], reach: int
) -> tuple[NDArray[np.intp], NDArray[np.float32]]:
    """The wanted pixels whose two colours can be told apart (n,), numbered row by row, and their shares (n,)."""
    linear = cv2.LUT(cv2.cvtColor(rgb, cv2.COLOR_RGB2RGBA), _LINEAR)  # the fourth channel is 1 everywhere
    side = (2 * reach + 1,) * 2
    seen, own, beside = (
        np.ascontiguousarray(picture.reshape(-1, 4).take(wanted, axis=0).T)
        for picture in (
            linear,
            cv2.blur(_weighted(linear, cv2.LUT(depth, _OWN_WEIGHT)), side),
            cv2.blur(_weighted(linear, cv2.LUT(depth, _BESIDE_WEIGHT)), side),
        )
    )
    known = (own[3] > _LEAST_WEIGHT) & (beside[3] > _LEAST_WEIGHT)
    seen = seen[:3]
    own, beside = (c[:3] / np.maximum(c[3], _LEAST_WEIGHT) for c in (own, beside))
    apart = own - beside
    square = _dot(apart, apart)
    clear = known & (square > _LEAST_CONTRAST**2 * _dot(own, own))
    share = _dot(seen - beside, apart)[clear] / np.maximum(square[clear], 1e-6)
    return wanted[clear], np.clip(share, 0, 1)


def _weighted(picture: NDArray[np.float32], weight: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(cv2.multiply(picture, cv2.merge([weight] * 4)), np.float32)


def _dot(a: NDArray[np.float32], b: NDArray[np.float32]) -> NDArray[np.float32]:
    """Dot product of each pair of colours, (3, n) each."""
    return np.asarray((a * b).sum(axis=0), np.float32)
