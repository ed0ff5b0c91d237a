"""Outlines of regions in px of the photo, to be drawn over it and tapped."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.corrections import Point
from grader.regions import Region, Regions

_FINE = 2  # outlines run through the middles of half pixels, so that they miss the true edge by a quarter of a pixel
_SIMPLE_PX = 0.4


@dataclass(frozen=True, eq=False)
class Outline:
    """Where one region lies.

    Attributes:
        region: the region.
        rings_px: float64 (k, 2) each; its outer edge and the edges of its holes.
        inside_px: a place well inside it.
        reach_px: half the longer side of its box along the photo's axes.
        plated_px: pixels that are at least half plated.
    """

    region: Region
    rings_px: tuple[NDArray[np.float64], ...]
    inside_px: Point
    reach_px: float
    plated_px: int


def outlines(share: NDArray[np.uint8], regions: Regions) -> tuple[Outline, ...]:
    """Outlines of the half-covered parts of all regions, the largest first.

    Args:
        share: uint8 (height, width), coverage that the regions were found in.
        regions: of the photo.
    """
    found = [
        _outline(region, regions.labels[box] == region.number, share[box] > 127, box)
        for region, box in zip(regions.regions, _boxes(share, regions), strict=True)
        if box is not None
    ]
    return tuple(sorted(found, key=lambda o: -o.plated_px))


def _boxes(share: NDArray[np.uint8], regions: Regions) -> list[tuple[slice, slice] | None]:
    """Rows and columns of each region's half-covered pixels; None if there are none."""
    ys, xs = np.nonzero(share > 127)
    labels = regions.labels[ys, xs]
    order = np.argsort(labels, kind="stable")
    ys, xs = ys[order], xs[order]
    numbers, starts = np.unique(labels[order], return_index=True)
    edges = [f.reduceat(v, starts) for v in (ys, xs) for f in (np.minimum, np.maximum)] if len(numbers) else []
    boxes: list[tuple[slice, slice] | None] = [None] * (len(regions.regions) + 1)
    for number, y0, y1, x0, x1 in zip(numbers.tolist(), *(e.tolist() for e in edges), strict=True):
        boxes[number] = slice(y0, y1 + 1), slice(x0, x1 + 1)
    return boxes[1:]


def _outline(region: Region, own: NDArray[np.bool_], plated: NDArray[np.bool_], box: tuple[slice, slice]) -> Outline:
    mask = np.pad((own & plated).astype(np.uint8), 1)
    corner = np.array([box[1].start - 1, box[0].start - 1], np.float64)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    y, x = np.unravel_index(int(np.argmax(depth)), depth.shape)
    fine = mask.repeat(_FINE, axis=0).repeat(_FINE, axis=1)
    rings, _ = cv2.findContours(fine, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    simple = [cv2.approxPolyDP(ring, _SIMPLE_PX * _FINE, closed=True).reshape(-1, 2) for ring in rings]
    return Outline(
        region,
        tuple((ring + 0.5) / _FINE - 0.5 + corner for ring in simple),
        (float(x + corner[0]), float(y + corner[1])),
        max(mask.shape) / 2 - 1,
        int(mask.sum()),
    )
