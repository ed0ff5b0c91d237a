"""What the classical segmenter looks at: colour against its surroundings, per pixel and per region.

All lengths are in mm and turned into pixels of the picture at hand, so that a feature means the same at any
resolution. Colours are logarithms (base 2) of linear light: ``red`` = log R/G, ``blue`` = log B/G, ``light`` = log Y.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]

PIXEL_FEATURES = (
    "red", "blue", "light",
    "red_minus_1mm", "blue_minus_1mm", "light_minus_1mm",
    "red_minus_3mm", "blue_minus_3mm", "light_minus_3mm",
    "unevenness", "saturation", "light_minus_20mm",
)  # fmt: skip
REGION_FEATURES = (
    "log_area", "log_aspect", "rectangularity", "solidity", "score", "score_spread", "red", "blue", "light",
    "red_contrast", "blue_contrast", "light_contrast", "light_spread", "ring_light_spread", "ring_red", "ring_blue",
    "ring_light", "edge_steepness", "log_alike",
)  # fmt: skip

_DARK = np.float32(0.004)  # linear light added before a logarithm: about sRGB code 13, below it is sensor noise
_LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)  # IEC 61966-2-1
_SMALLEST_MM2 = 0.06


@dataclass(frozen=True)
class RegionTable:
    """Regions of one picture.

    Attributes:
        labels: int32 (height, width), 0 = none.
        numbers: int (n,), the labels that were large enough to be described.
        features: float64 (n, len(REGION_FEATURES)).
    """

    labels: NDArray[np.int32]
    numbers: NDArray[np.int64]
    features: NDArray[np.float64]


def pixel_features(linear: Array, px_per_mm: float) -> Array:
    """Features of each pixel.

    Args:
        linear: balanced linear RGB, float32 (height, width, 3).
        px_per_mm: of this picture.

    Returns:
        float32 (height, width, len(PIXEL_FEATURES)).
    """
    clipped = np.minimum(linear, 1)
    log = np.log2(clipped + _DARK)
    red, blue = log[..., 0] - log[..., 1], log[..., 2] - log[..., 1]
    light = np.log2(clipped @ _LUMA + _DARK)
    out = np.empty((*light.shape, len(PIXEL_FEATURES)), np.float32)
    for i, plane in enumerate((red, blue, light)):
        out[..., i] = plane
        out[..., 3 + i] = plane - _mean(plane, 1.0 * px_per_mm, 1.5)
        out[..., 6 + i] = plane - _mean(plane, 3.0 * px_per_mm, 1.5)
    side = max(round(0.35 * px_per_mm) | 1, 3)
    mean = cv2.blur(light, (side, side))
    out[..., 9] = np.sqrt(np.maximum(cv2.blur(light * light, (side, side)) - mean * mean, 0))
    out[..., 10] = 1 - clipped.min(axis=-1) / (clipped.max(axis=-1) + _DARK)
    out[..., 11] = light - _mean(light, 10.0 * px_per_mm, 1.5)
    return out


def describe_regions(pixels: Array, score: Array, px_per_mm: float) -> RegionTable:
    """Connected regions of positive score, each described by its shape, its colour and what surrounds it.

    Args:
        pixels: from ``pixel_features``.
        score: float32 (height, width), positive where a pixel looks plated.
        px_per_mm: of this picture.
    """
    positive = (score > 0).astype(np.uint8)
    _, labels, stats, centres = cv2.connectedComponentsWithStats(positive, connectivity=4)
    light = np.ascontiguousarray(pixels[..., 2])
    steep = cv2.magnitude(
        cv2.Sobel(light, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(light, cv2.CV_32F, 0, 1, scale=0.125)
    )
    smallest = max(6.0, _SMALLEST_MM2 * px_per_mm**2)
    numbers = np.array([i for i in range(1, len(stats)) if stats[i, cv2.CC_STAT_AREA] >= smallest], np.int64)
    if not len(numbers):
        return RegionTable(labels, numbers, np.zeros((0, len(REGION_FEATURES))))
    near, far = _disc(max(1, round(0.12 * px_per_mm))), _disc(max(3, round(0.7 * px_per_mm)))
    rows, sizes = [], []
    height, width = score.shape
    for number in numbers:
        x, y, w, h = stats[number, :4]
        pad = far.shape[0] // 2 + 2
        box = (slice(max(y - pad, 0), min(y + h + pad, height)), slice(max(x - pad, 0), min(x + w + pad, width)))
        row, size = _describe(labels[box] == number, positive[box], pixels[box], score[box], steep[box], near, far)
        rows.append(row)
        sizes.append(size)
    table, size_mm = np.array(rows), np.array(sizes) / px_per_mm
    table[:, 0] -= 2 * np.log(px_per_mm)
    alike = _count_alike(centres[numbers] / px_per_mm, size_mm)
    return RegionTable(labels, numbers, np.c_[table, np.log1p(alike)])


def _describe(
    inside: NDArray[np.bool_],
    positive: NDArray[np.uint8],
    pixels: Array,
    score: Array,
    steep: Array,
    near: NDArray[np.uint8],
    far: NDArray[np.uint8],
) -> tuple[list[float], tuple[float, float]]:
    """Features of one region but the last, area still in px², and its longer and shorter side in px."""
    mask = inside.astype(np.uint8)
    wide = cv2.dilate(mask, far) > 0
    ring = wide & (cv2.dilate(mask, near) == 0) & (positive == 0)
    if ring.sum() < 5:
        ring = wide & ~inside
    if not ring.any():
        ring = ~inside if not inside.all() else inside
    square = np.ones((3, 3), np.uint8)
    edge = (cv2.dilate(mask, square) > 0) & (cv2.erode(mask, square) == 0)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=len)
    a, b = sorted(side + 1 for side in cv2.minAreaRect(outline)[1])
    area = float(inside.sum())
    hull = cv2.contourArea(cv2.convexHull(outline)) + len(outline) / 2 + 1
    scores = np.clip(score[inside], -6, 6)
    own = pixels[inside][:, :3]
    around = np.median(pixels[ring][:, :3], axis=0)
    mean = own.mean(axis=0)
    row = [
        np.log(area), np.log(b / a), area / (a * b), area / hull, scores.mean(), scores.std(), *mean,
        *(mean - around), own[:, 2].std(), pixels[ring][:, 2].std(), *around, steep[edge].mean(),
    ]  # fmt: skip
    return [float(value) for value in row], (b, a)


def _count_alike(centres_mm: NDArray[np.float64], size_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """For each region, how many others of about its size lie within six times its width."""
    count = np.zeros(len(centres_mm))
    for i, (centre, size) in enumerate(zip(centres_mm, size_mm, strict=True)):
        near = np.hypot(*(centres_mm - centre).T) < 6 * max(size[1], 0.8)
        count[i] = (near & np.all(np.abs(size_mm / size - 1) < 0.35, axis=1)).sum() - 1
    return count


def _mean(plane: Array, half_side_px: float, least: float) -> Array:
    side = 2 * round(max(half_side_px, least)) + 1
    return np.asarray(cv2.blur(plane, (side, side)), np.float32)


def _disc(radius: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1,) * 2), np.uint8)
