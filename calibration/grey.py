"""Which of a target's grey patches a photo shows, and where."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.plane import PosedPlane
from calibration.scale import GreyPatch
from calibration.target import TargetDescription

FloatArray = NDArray[np.float64]

_INSET = 0.18
_AREA_MIN_PX = 60.0
_BLUR_PX = 5
# log ratio of encoded red or blue to green, against the other patches
_HUE_MAX = 0.15
# a bare patch: nine tenths of its pixels lie within this share of its median
_SPREAD_MAX = 0.35
_SPREAD_FLOOR = 6.0


def patches_in_sight(rgb: NDArray[np.uint8], target: TargetDescription, plane: PosedPlane) -> tuple[GreyPatch, ...]:
    """Patches wholly inside the photo that look bare: even, of one hue, and in the order of their reflectances.

    Args:
        rgb: uint8 (height, width, 3).
        target: the sheet.
        plane: the sheet's plane (height 0).
    """
    found: list[tuple[GreyPatch, FloatArray]] = []
    for place in target.grey_patches:
        polygon = plane.to_px(place.corners_mm(_INSET))
        level = _bare_level(rgb, polygon)
        if level is not None:
            found.append((GreyPatch(place.reflectance, polygon), level))
    alike = _of_one_hue(found)
    return tuple(patch for patch, level in alike if _in_order(patch, level[1], alike))


def _of_one_hue(found: list[tuple[GreyPatch, FloatArray]]) -> list[tuple[GreyPatch, FloatArray]]:
    """The patches whose red and blue stand to green as they do in most: one light falls on all."""
    if not found:
        return found
    hues = np.log(np.array([level[[0, 2]] + 4.0 for _, level in found]) / [[level[1] + 4.0] for _, level in found])
    off = np.max(np.abs(hues - np.median(hues, axis=0)), axis=1)
    return [pair for pair, miss in zip(found, off, strict=True) if miss <= _HUE_MAX]


def _bare_level(rgb: NDArray[np.uint8], polygon: FloatArray) -> FloatArray | None:
    """Median colour (3,) of the polygon, or None where it leaves the photo, is tiny, or is not even."""
    height, width = rgb.shape[:2]
    low, high = np.floor(polygon.min(axis=0)), np.ceil(polygon.max(axis=0)) + 1
    if low.min() < 0 or high[0] > width or high[1] > height:
        return None
    x0, y0, x1, y1 = (int(v) for v in (*low, *high))
    inside = np.zeros((y1 - y0, x1 - x0), dtype=np.uint8)
    cv2.fillPoly(inside, [np.round(polygon - low).astype(np.int32)], 1)
    # grain is no pattern: the inset keeps the blur inside the patch
    values = cv2.blur(np.ascontiguousarray(rgb[y0:y1, x0:x1]), (_BLUR_PX, _BLUR_PX))[inside > 0].astype(np.float64)
    if len(values) < _AREA_MIN_PX:
        return None
    p5, p50, p95 = np.percentile(values, [5, 50, 95], axis=0)
    if np.any(p95 - p5 > np.maximum(_SPREAD_MAX * p50, _SPREAD_FLOOR) + _SPREAD_FLOOR):
        return None
    return np.asarray(p50)


def _in_order(patch: GreyPatch, level: float, found: list[tuple[GreyPatch, FloatArray]]) -> bool:
    """Whether a patch is brighter than most darker ones and darker than most brighter ones."""
    agree = [
        (other_level[1] - level) * (other.reflectance - patch.reflectance) > 0
        for other, other_level in found
        if other.reflectance != patch.reflectance
    ]
    return not agree or sum(agree) > len(agree) / 2
